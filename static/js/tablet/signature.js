// A signature drawn on glass, kept as strokes in a box of 600 × 200.

function paint(canvas, strokes) {
  const pen = canvas.getContext("2d");
  pen.clearRect(0, 0, canvas.width, canvas.height);
  pen.lineWidth = 3;
  pen.lineCap = "round";
  pen.lineJoin = "round";
  pen.strokeStyle = getComputedStyle(canvas).color;
  for (const stroke of strokes) {
    pen.beginPath();
    stroke.forEach(([x, y], index) => (index ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.stroke();
  }
}

function watch(entry, store) {
  const canvas = entry.querySelector("canvas");
  const input = entry.querySelector("[data-typed]");
  let strokes = [];
  try {
    strokes = JSON.parse(input.value || "[]");
  } catch {
    strokes = [];
  }
  paint(canvas, strokes);
  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return [
      Math.round(((event.clientX - box.left) / box.width) * canvas.width),
      Math.round(((event.clientY - box.top) / box.height) * canvas.height),
    ];
  };
  let drawing = null;
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    drawing = [at(event)];
    strokes.push(drawing);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!drawing) return;
    drawing.push(at(event));
    paint(canvas, strokes);
  });
  const end = () => {
    if (!drawing) return;
    drawing = null;
    input.value = JSON.stringify(strokes);
    store(entry);
  };
  canvas.addEventListener("pointerup", end);
  canvas.addEventListener("pointercancel", end);
  entry.querySelector("[data-clear]").addEventListener("click", () => {
    strokes = [];
    input.value = "[]";
    paint(canvas, strokes);
    store(entry);
  });
}

export function watchSignatures(walk, store) {
  for (const entry of walk.querySelectorAll('.entry[data-kind="signature"]')) watch(entry, store);
}
