// The photos of the page become views to zoom into; on paper they are printed whole.
{
  // Width of a printed photo, px: some 220 to the inch on A4.
  const PRINTED = 1600;
  const photos = JSON.parse(document.getElementById("photos").textContent);
  const shown = [];
  for (const place of document.querySelectorAll(".seen")) {
    const photo = photos[Number(place.dataset.photo)];
    const particles = photo.outlines.map(([size, feret, state, steps], id) => {
      const outline = new Array(steps.length);
      let [left, top, right, bottom] = [Infinity, Infinity, -Infinity, -Infinity];
      for (let i = 0; i < steps.length; i += 2) {
        const x = (i > 0 ? outline[i - 2] : 0) + steps[i] / 10;
        const y = (i > 0 ? outline[i - 1] : 0) + steps[i + 1] / 10;
        [outline[i], outline[i + 1]] = [x, y];
        [left, top, right, bottom] = [Math.min(left, x), Math.min(top, y), Math.max(right, x), Math.max(bottom, y)];
      }
      const sizes = size > 0 ? { size_um: size, feret_um: feret } : {};
      return { id, ...sizes, x: (left + right) / 2, y: (top + bottom) / 2, outline, state };
    });
    const image = place.querySelector("img");
    const { width, height, label } = photo;
    image.remove();
    grainView(place, { image, width, height, umPerPx: photo.um_per_px, particles, label });
    shown.push({ place, image, width, height, particles, umPerPx: photo.um_per_px });
  }

  const printed = ({ place, image, width, height, particles, umPerPx }) => {
    const canvas = document.createElement("canvas");
    const zoom = PRINTED / width;
    [canvas.width, canvas.height] = [PRINTED, Math.round(height * zoom)];
    canvas.className = "printed";
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", "The photo with the outlines of its particles");
    const context = canvas.getContext("2d");
    const screen = { wide: canvas.width, high: canvas.height, dots: 1 };
    const scene = { particles, box: grainDraw.boxes(particles), width, height, view: { x: 0, y: 0, zoom }, screen };
    context.drawImage(image, 0, 0, canvas.width, canvas.height);
    const layer = grainDraw.newLayer(scene);
    while (!grainDraw.extend(layer, scene));
    context.drawImage(layer.canvas, layer.x * zoom, layer.y * zoom);
    grainDraw.scaleBar(context, umPerPx, scene);
    place.prepend(canvas);
  };
  addEventListener("beforeprint", () => {
    for (const photo of shown.splice(0)) printed(photo);
  });
}
