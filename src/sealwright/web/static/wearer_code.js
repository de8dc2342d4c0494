// The code as it is read: capitals, two groups of three. Without this script the server tidies it all the same.
const field = document.getElementById("code");

field.addEventListener("input", () => {
  const typed = field.value.toUpperCase().replace(/[^A-Z0-9]/g, "").slice(0, 6);
  field.value = typed.length > 3 ? `${typed.slice(0, 3)} ${typed.slice(3)}` : typed;
});
