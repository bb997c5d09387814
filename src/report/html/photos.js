// The photos of the page become views to zoom into.
{
  const photos = JSON.parse(document.getElementById("photos").textContent);
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
  }
}
