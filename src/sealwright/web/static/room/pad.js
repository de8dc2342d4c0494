// A signature as a drawn path, by finger, pen or mouse.

export class Pad {
  constructor(canvas) {
    this.canvas = canvas;
    this.strokes = [];
    this.points = 0;
    const context = canvas.getContext("2d");
    context.lineWidth = 3;
    context.lineCap = context.lineJoin = "round";
    context.strokeStyle = getComputedStyle(canvas).color;
    const at = (event) => {
      const box = canvas.getBoundingClientRect();
      return [Math.round((event.clientX - box.left) * canvas.width / box.width),
              Math.round((event.clientY - box.top) * canvas.height / box.height)];
    };
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      this.strokes.push([at(event)]);
      event.preventDefault();
    });
    canvas.addEventListener("pointermove", (event) => {
      const stroke = this.strokes.at(-1);
      if (!canvas.hasPointerCapture(event.pointerId) || !stroke || this.points > 1500) return;
      const [x, y] = at(event), [px, py] = stroke.at(-1);
      if (Math.hypot(x - px, y - py) < 3) return;
      stroke.push([x, y]);
      this.points += 1;
      context.beginPath();
      context.moveTo(px, py);
      context.lineTo(x, y);
      context.stroke();
    });
  }

  clear() {
    this.strokes = [];
    this.points = 0;
    this.canvas.getContext("2d").clearRect(0, 0, this.canvas.width, this.canvas.height);
  }

  get drawn() { return this.strokes.some((s) => s.length > 1); }

  // SVG path data; a wearer or tester who cannot draw here makes a cross.
  path() {
    if (!this.drawn) return "M 270 60 L 370 140 M 370 60 L 270 140";
    return this.strokes.filter((s) => s.length > 1)
      .map((s) => "M " + s.map(([x, y]) => `${x} ${y}`).join(" L ")).join(" ");
  }
}

export async function sha256(text) {
  if (!globalThis.crypto?.subtle) return null;
  const digest = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(text));
  return [...new Uint8Array(digest)].map((b) => b.toString(16).padStart(2, "0")).join("");
}
