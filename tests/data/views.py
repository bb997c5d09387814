"""Calibrates cameras with OpenCV and writes views.json, the reference of tests/views.rs.

    python tests/data/views.py             (needs numpy, scipy, opencv-python-headless; versions are in views.json)
    python tests/data/views.py FOLDER      (finds the corners in left01.jpg ... left14.jpg of FOLDER again as well)

The points are read from views.json, every result is computed anew. FOLDER is
usr/share/doc/opencv-doc/examples/data of Debian's package opencv-doc 4.6.0.

Pixel (0, 0) has its centre at (0, 0) here, as OpenCV has it.
"""

import json
import platform
import sys
from pathlib import Path

import cv2
import numpy as np
import scipy
from scipy.optimize import least_squares

FILE = Path(__file__).with_name("views.json")
# A camera with unlike focal lengths, a free centre and two radial terms.
FLAGS = cv2.CALIB_FIX_K3 | cv2.CALIB_ZERO_TANGENT_DIST
TIGHT = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 1000, 1e-15)
PHOTOS = [f"left{i:02}.jpg" for i in range(1, 15) if i != 10]


def homography(points):
    """cv2.findHomography, and the least squares in the plane of `to`, before which cv2 stops by some 1e-7."""
    source, target = np.array(points["from"]), np.array(points["to"])
    found, _ = cv2.findHomography(source, target, method=0)
    plane = np.column_stack([source, np.ones(len(source))])

    def residuals(h):
        p = plane @ np.append(h, 1.0).reshape(3, 3).T
        return (p[:, :2] / p[:, 2:] - target).ravel()

    def jacobian(h):
        x, y, w = np.append(h, 1.0).reshape(3, 3) @ plane.T
        rows = np.zeros((len(plane), 2, 8))
        rows[:, 0, :3] = rows[:, 1, 3:6] = plane / w[:, None]
        rows[:, 0, 6:] = -(x / w**2)[:, None] * source
        rows[:, 1, 6:] = -(y / w**2)[:, None] * source
        return rows.reshape(-1, 8)

    start = found.ravel()[:8]
    tight = {"xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15}
    refined = least_squares(residuals, start, jacobian, method="lm", x_scale=np.abs(start), **tight).x
    return {**points, "opencv": found.ravel().tolist(), "least_squares": [*refined.tolist(), 1.0]}


def grid(board):
    """Corners of a board, mm: x fastest."""
    columns, rows = board["columns"], board["rows"]
    y, x = np.mgrid[:rows, :columns] * float(board["pitch_mm"])
    return np.column_stack([x.ravel(), y.ravel(), 0.0 * x.ravel()]).astype(np.float32)


def calibrate(board, views, size):
    """Camera by cv2.calibrateCamera, which takes the points as float32."""
    views = [np.array(v, np.float32) for v in views]
    rms, matrix, terms, turns, shifts, deviations, _, _ = cv2.calibrateCameraExtended(
        [grid(board)] * len(views), views, size, None, None, flags=FLAGS, criteria=TIGHT
    )
    return {
        "rms": rms,
        "focal": [matrix[0, 0], matrix[1, 1]],
        "centre": [matrix[0, 2], matrix[1, 2]],
        "k1": terms.ravel()[0],
        "k2": terms.ravel()[1],
        "poses": [[*turn.ravel(), *shift.ravel()] for turn, shift in zip(turns, shifts)],
        # Of the two focal lengths, the two of the centre, k1, k2.
        "deviations": deviations.ravel()[:6].tolist(),
    }


def corners(folder, board):
    """Corners of the photographs to 1/10000 px: what is stored is what is calibrated with."""
    found = []
    for name in PHOTOS:
        grey = cv2.imread(str(Path(folder) / name), cv2.IMREAD_GRAYSCALE)
        seen, points = cv2.findChessboardCorners(grey, (board["columns"], board["rows"]))
        assert seen, name
        points = cv2.cornerSubPix(grey, points, (5, 5), (-1, -1), (TIGHT[0], 100, 1e-6))
        found.append([[round(float(c), 4) for c in p] for p in points.reshape(-1, 2)])
    return found


def written(value, indent=0):
    """JSON with a point list or a row of numbers on one line."""
    if isinstance(value, dict):
        pad = " " * (indent + 2)
        rows = ",\n".join(f"{pad}{json.dumps(k)}: {written(v, indent + 2)}" for k, v in value.items())
        return "{\n" + rows + "\n" + " " * indent + "}"
    if isinstance(value, list) and value and isinstance(value[0], list) and isinstance(value[0][0], list):
        pad = " " * (indent + 2)
        return "[\n" + ",\n".join(pad + json.dumps(v) for v in value) + "\n" + " " * indent + "]"
    return json.dumps(value, ensure_ascii=False)


def main():
    # One thread adds in one order: the same digits at every run.
    cv2.setNumThreads(1)
    data = json.loads(FILE.read_text())
    data["versions"] = {
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "opencv": cv2.__version__,
    }
    for case in ("exact", "perturbed"):
        data["homography"][case] = homography(data["homography"][case])
    made, photos = data["synthetic"], data["photographs"]
    for case in ("exact", "noisy"):
        made[case]["opencv"] = calibrate(made["board"], made[case]["views"], made["size"])
    if len(sys.argv) > 1:
        photos["views"] = corners(sys.argv[1], photos["board"])
    photos["opencv"] = calibrate(photos["board"], photos["views"], photos["size"])
    for name, case in [("exact", made["exact"]), ("noisy", made["noisy"]), ("photographs", photos)]:
        print(name, {k: v for k, v in case["opencv"].items() if k != "poses"})
    FILE.write_text(written(data) + "\n")


if __name__ == "__main__":
    main()
