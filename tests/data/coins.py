"""Measures coins.png with scikit-image and with OpenCV and writes coins.json, the reference of tests/coins.rs.

    python tests/data/coins.py        (needs numpy, scipy, scikit-image, opencv-python-headless)

Both libraries follow the same recipe on the coded grey values: take off a wide Gaussian background (sigma 40), cut at
Otsu's threshold, fill holes, label with connectivity 8, drop what is smaller than 200 px.
"""

import json
import platform
from pathlib import Path

import cv2
import numpy as np
import scipy
import skimage
from scipy import ndimage
from skimage import filters, measure

HERE = Path(__file__).parent
SIGMA_PX = 40
MIN_AREA_PX = 200


def with_skimage(grey):
    """Rows of centroid x, centroid y, diameter; pixel (0, 0) has its centre at (0.5, 0.5)."""
    flat = grey - filters.gaussian(grey, SIGMA_PX, preserve_range=True)
    mask = ndimage.binary_fill_holes(flat > filters.threshold_otsu(flat))
    regions = measure.regionprops(measure.label(mask, connectivity=2))
    return [
        (r.centroid[1] + 0.5, r.centroid[0] + 0.5, r.equivalent_diameter_area) for r in regions if r.area >= MIN_AREA_PX
    ]


def with_opencv(grey):
    """The same recipe with OpenCV alone."""
    flat = grey - cv2.GaussianBlur(grey, (0, 0), SIGMA_PX, borderType=cv2.BORDER_REPLICATE)
    # Otsu's method of OpenCV takes 8-bit values only.
    coded = cv2.normalize(flat, None, 0, 255, cv2.NORM_MINMAX, cv2.CV_8U)
    _, mask = cv2.threshold(coded, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    # What the outer contours enclose is the mask with its holes filled.
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(mask, contours, -1, 255, cv2.FILLED)
    _, _, stats, centroids = cv2.connectedComponentsWithStats(mask, connectivity=8)
    area = stats[1:, cv2.CC_STAT_AREA]
    keep = area >= MIN_AREA_PX
    return np.column_stack([centroids[1:][keep] + 0.5, np.sqrt(4 * area[keep] / np.pi)]).tolist()


def main():
    grey = cv2.imread(str(HERE / "coins.png"), cv2.IMREAD_GRAYSCALE)
    ours, theirs = with_skimage(grey.astype(float)), with_opencv(grey.astype(np.float32))
    versions = {
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "scikit-image": skimage.__version__,
        "opencv": cv2.__version__,
    }
    print(versions)
    print(f"scikit-image: {len(ours)} coins, OpenCV: {len(theirs)} coins")
    assert len(ours) == len(theirs) == 24
    coins = []
    for x, y, diameter in sorted(ours, key=lambda c: (c[1] // 75, c[0])):
        u, v, other = min(theirs, key=lambda c: (c[0] - x) ** 2 + (c[1] - y) ** 2)
        assert (u - x) ** 2 + (v - y) ** 2 < 1
        coins.append(
            {"x": round(x, 2), "y": round(y, 2), "skimage_px": round(diameter, 2), "opencv_px": round(other, 2)}
        )
        print("  " + "  ".join(f"{name} {value:7.2f}" for name, value in coins[-1].items()))
    mean = {name: float(np.mean([c[name] for c in coins])) for name in ("skimage_px", "opencv_px")}
    print("mean diameter: " + ", ".join(f"{name} {value:.2f}" for name, value in mean.items()))
    # One coin a line keeps the file small and its changes readable.
    rows = ",\n".join("    " + json.dumps(c) for c in coins)
    head = f'{{\n  "versions": {json.dumps(versions)},\n  "count": {len(coins)},\n  "coins": [\n'
    (HERE / "coins.json").write_text(head + rows + "\n  ]\n}\n")


if __name__ == "__main__":
    main()
