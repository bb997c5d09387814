"""What general-purpose libraries make of the same photos of known particles, beside the tool.

    cargo build --release
    python benches/others.py target/release/lightsieve [--seeds N]

Photos are drawn by `lightsieve render`, whose truth comes from outlines. Every library gets its usual recipe and the flattened
photo; all results go through the same border weighting and the same figures:

- OpenCV: Otsu's threshold, connected components, area;
- OpenCV, watershed: the same, parted by the watershed from the peaks of the distance map (its tutorial's recipe);
- scikit-image: threshold by Li's method, labels, area and Feret diameter by `regionprops`;
- SEP (source extraction as astronomers do it): five sigma above the background, deblended, area above the threshold.

Errors are medians over the seeds: sizes in percent, fines below 100 µm in percentage points of the mass. "Found" is the share of
true particles of 4 px and more that were found, "false" that of found ones which are none, both in percent.
Needs numpy, opencv-python-headless, scikit-image and sep.
"""

import argparse
import csv
import subprocess
import tempfile
from pathlib import Path

import cv2
import numpy as np
import sep
import skimage.filters
import skimage.measure

UM_PER_PX = 20.0
SIZE = (3000, 2250)
FINES_UM = 100.0
TILE_PX = 64
KINDS = {
    "plain": [],
    "touching": ["--touching", "0.3"],
    "soft": ["--blur", "1.8"],
    "hard shadow": ["--shadow", "0.4"],
    "crowded": ["--coverage", "0.15", "--touching", "0.15"],
}


def flattened(path):
    """Light over that of the paper, read by tiles."""
    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    height, width = grey.shape
    down, across = height // TILE_PX, width // TILE_PX
    tiles = grey[: down * TILE_PX, : across * TILE_PX].reshape(down, TILE_PX, across, TILE_PX)
    paper = np.percentile(tiles.transpose(0, 2, 1, 3).reshape(down, across, -1), 80, axis=2).astype(np.float32)
    paper = cv2.resize(paper, (width, height), interpolation=cv2.INTER_LINEAR)
    return grey / np.maximum(paper, 1.0)


def as_bytes(flat):
    return np.clip(200.0 * flat, 0, 255).astype(np.uint8)


def with_opencv(flat):
    _, dark = cv2.threshold(as_bytes(flat), 0, 255, cv2.THRESH_BINARY_INV + cv2.THRESH_OTSU)
    _, _, stats, centres = cv2.connectedComponentsWithStats(dark)
    return rows(centres[1:], stats[1:, cv2.CC_STAT_AREA], np.hypot(stats[1:, 2], stats[1:, 3]))


def with_watershed(flat):
    grey = as_bytes(flat)
    _, dark = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY_INV + cv2.THRESH_OTSU)
    count, labels = cv2.connectedComponents(dark)
    depth = cv2.distanceTransform(dark, cv2.DIST_L2, 5)
    # Peaks are taken blob by blob, as a share of the deepest place of each: one share of the whole photo loses every speck.
    deepest = np.zeros(count, np.float32)
    np.maximum.at(deepest, labels.ravel(), depth.ravel())
    _, markers = cv2.connectedComponents((depth > 0.7 * deepest[labels]).astype(np.uint8) * (dark > 0).astype(np.uint8))
    markers = markers + 1
    markers[(dark > 0) & (depth <= 0.7 * deepest[labels])] = 0
    cv2.watershed(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR), markers)
    # The lines between the parts belong to none and are lost, as in the recipe.
    markers[(markers < 2) | (dark == 0)] = 0
    regions = skimage.measure.regionprops(markers)
    return regions_as_rows(regions)


def with_skimage(flat):
    dark = flat < skimage.filters.threshold_li(flat)
    return regions_as_rows(skimage.measure.regionprops(skimage.measure.label(dark, connectivity=2)))


def regions_as_rows(regions):
    centres = np.array([[r.centroid[1] + 0.5, r.centroid[0] + 0.5] for r in regions]) - 0.5
    boxes = np.array([np.hypot(r.bbox[2] - r.bbox[0], r.bbox[3] - r.bbox[1]) for r in regions])
    return rows(centres, np.array([r.area for r in regions]), boxes)


def with_sep(flat):
    deficit = np.ascontiguousarray(1.0 - flat, dtype=np.float32)
    background = sep.Background(deficit)
    sep.set_extract_pixstack(5_000_000)
    found = sep.extract(deficit - background.back(), 5.0, err=background.globalrms, minarea=4)
    boxes = np.hypot(found["xmax"] - found["xmin"] + 1, found["ymax"] - found["ymin"] + 1)
    return rows(np.stack([found["x"], found["y"]], axis=1), found["npix"], boxes)


def rows(centres, areas, diagonals):
    """x, y (px), diameter of the circle of the same area (µm), greatest width (µm, from the bounding box)."""
    ecd = UM_PER_PX * np.sqrt(4.0 * np.asarray(areas, float) / np.pi)
    return np.column_stack([np.asarray(centres) + 0.5, ecd, np.maximum(UM_PER_PX * np.asarray(diagonals) / np.sqrt(2), ecd)])


def read(path):
    with open(path) as f:
        return np.array([[float(r[k]) for k in ("x_px", "y_px", "ecd_um", "feret_max_um")] for r in csv.DictReader(f)])


def figures(particles):
    """D10, D50, D90 (µm) and fines (%), by mass, of the particles that lie wholly in the frame, weighted for the frame."""
    x, y, d, feret = particles.T
    w, h, f = *SIZE, feret / UM_PER_PX
    whole = (x >= f / 2) & (x <= w - f / 2) & (y >= f / 2) & (y <= h - f / 2)
    d, f = d[whole], f[whole]
    order = np.argsort(d)
    d, mass = d[order], (d**3 * w * h / ((w - f) * (h - f)))[order]
    middle = (np.cumsum(mass) - 0.5 * mass) / mass.sum()
    return [*np.interp([0.1, 0.5, 0.9], middle, d), 100.0 * mass[d < FINES_UM].sum() / mass.sum()]


def found_and_false(particles, truth):
    """Shares in percent; each found particle goes to the nearest true one that is free, the closest pairs first."""
    pairs = []
    cell = 40.0
    grid = {}
    for j, (x, y) in enumerate(particles[:, :2]):
        grid.setdefault((int(x // cell), int(y // cell)), []).append(j)
    for i, (x, y, d, _) in enumerate(truth):
        reach = max(2.5, 0.3 * d / UM_PER_PX)
        near = (j for u in (-1, 0, 1) for v in (-1, 0, 1) for j in grid.get((int(x // cell) + u, int(y // cell) + v), ()))
        for j in near:
            off = np.hypot(particles[j, 0] - x, particles[j, 1] - y)
            if off <= reach:
                pairs.append((off + abs(np.log(particles[j, 2] / d)), i, j))
    taken, used = set(), set()
    for _, i, j in sorted(pairs):
        if i not in taken and j not in used:
            taken.add(i)
            used.add(j)
    inside = lambda p: 60 < p[0] < SIZE[0] - 60 and 60 < p[1] < SIZE[1] - 60
    wanted = [i for i, p in enumerate(truth) if inside(p) and p[2] >= 4 * UM_PER_PX]
    # What is smaller than 2 px is nobody's business here.
    seen = [j for j, p in enumerate(particles) if inside(p) and p[2] >= 2 * UM_PER_PX]
    share = lambda part, of: 100.0 * len(part) / max(1, len(of))
    return share([i for i in wanted if i in taken], wanted), share([j for j in seen if j not in used], seen)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("tool", help="path of lightsieve, built with --release")
    parser.add_argument("--seeds", type=int, default=3)
    args = parser.parse_args()
    tool = str(Path(args.tool).resolve())
    print(f"numpy {np.__version__}, OpenCV {cv2.__version__}, scikit-image {skimage.__version__}, SEP {sep.__version__}\n")
    print("| photos | by | D10 | D50 | D90 | fines | found | false |\n|---|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        photo, true_rows, own_rows = (str(Path(folder) / name) for name in ("photo.jpg", "truth.csv", "own.csv"))

        def with_tool(_):
            measure = [tool, "measure", photo, "--scale", str(UM_PER_PX), "--particles", own_rows]
            subprocess.run(measure, check=True, stdout=subprocess.DEVNULL)
            return read(own_rows)

        ways = {
            "this tool": with_tool,
            "OpenCV": with_opencv,
            "OpenCV, watershed": with_watershed,
            "scikit-image": with_skimage,
            "SEP": with_sep,
        }
        for kind, options in KINDS.items():
            results = {name: [] for name in ways}
            for seed in range(args.seeds):
                size = f"{SIZE[0]}x{SIZE[1]}"
                render = [tool, "render", photo, "--truth", true_rows, "--size", size, "--seed", str(900 + seed), *options]
                subprocess.run(render, check=True, stdout=subprocess.DEVNULL)
                truth, flat = read(true_rows), flattened(photo)
                right = figures(truth)
                for name, way in ways.items():
                    particles = way(flat)
                    mine = figures(particles)
                    errors = [100.0 * (a / b - 1.0) for a, b in zip(mine[:3], right[:3])] + [mine[3] - right[3]]
                    results[name].append([*errors, *found_and_false(particles, truth)])
            for name, values in results.items():
                d10, d50, d90, fines, found, false = np.median(np.array(values), axis=0)
                print(f"| {kind} | {name} | {d10:+.2f} | {d50:+.2f} | {d90:+.2f} | {fines:+.2f} | {found:.1f} | {false:.1f} |")


if __name__ == "__main__":
    main()
