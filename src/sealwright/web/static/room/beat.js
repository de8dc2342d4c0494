// A steady beat for the room, from a worker that the browser does not slow down in the background.
onmessage = (event) => setInterval(() => postMessage(0), event.data);
