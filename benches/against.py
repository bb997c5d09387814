"""Compares the speed of the tool with plain OpenCV, side by side in one run.

    cargo build --release
    python benches/against.py target/release/lightsieve [--stages PATH] [--rounds N] [--assert]

OpenCV (in this process): read the JPEG as grey, divide by a tile backdrop, Otsu's threshold, connected components with
their areas. That finds dark regions and counts their pixels; it measures no outline, corrects no blur or shadow and
gives no intervals. The tool is timed as a whole process, from start to written files, and, with --stages, by its own
bench in process. Rounds alternate between the two, so that a busy machine slows both. Minima are compared.

Needs numpy and opencv-python-headless.
"""

import argparse
import math
import os
import platform
import re
import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

import cv2
import numpy as np

TILE_PX = 64
LIMIT = 0.8


def with_opencv(path):
    """Number of dark regions and their areas, px²."""
    grey = cv2.imread(path, cv2.IMREAD_GRAYSCALE)
    height, width = grey.shape
    down, across = height // TILE_PX, width // TILE_PX
    # One row per tile. The few pixels beyond the last whole tile follow their neighbours in the resize.
    tiles = grey[: down * TILE_PX, : across * TILE_PX].reshape(down, TILE_PX, across, TILE_PX)
    tiles = tiles.transpose(0, 2, 1, 3).reshape(down, across, -1)
    rank = tiles.shape[-1] * 9 // 10
    level = np.partition(tiles, rank, axis=-1)[..., rank]
    backdrop = cv2.resize(cv2.medianBlur(level, 5), (width, height), interpolation=cv2.INTER_LINEAR)
    flat = cv2.divide(grey, backdrop, scale=200)
    _, mask = cv2.threshold(flat, 0, 255, cv2.THRESH_BINARY_INV | cv2.THRESH_OTSU)
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    return count - 1, stats[1:, cv2.CC_STAT_AREA]


def cpu_model():
    try:
        found = re.search(r"^model name\s*:\s*(.+)$", Path("/proc/cpuinfo").read_text(), re.MULTILINE)
    except OSError:
        found = None
    return found.group(1) if found else platform.processor() or platform.machine()


def peak_mib(command):
    """Largest resident memory of one run of the command, MiB."""
    # The figure for children is the maximum over all of them so far, so it is read in a child of its own.
    code = (
        "import resource, subprocess, sys;"
        "subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    out = subprocess.run([sys.executable, "-c", code, *command], check=True, capture_output=True, text=True).stdout
    # Linux counts KiB, macOS counts bytes.
    return int(out) / (1 << 20 if sys.platform == "darwin" else 1 << 10)


def bench_whole(stages, photo):
    """Fastest time of the tool's own bench from JPEG bytes to distribution, s."""
    env = {**os.environ, "BENCH_PHOTO": photo}
    done = subprocess.run([stages, "--bench", "whole"], check=True, capture_output=True, text=True, env=env)
    row = next(line for line in done.stdout.splitlines() if "whole" in line)
    value, unit = re.search(r"whole\s+([\d.]+) (ns|µs|ms|s)\b", row).groups()
    return float(value) * {"ns": 1e-9, "µs": 1e-6, "ms": 1e-3, "s": 1.0}[unit]


def timed(run):
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("tool", help="path of lightsieve, built with --release")
    parser.add_argument("--stages", help="path of the built bench `stages` (cargo bench --bench stages --no-run)")
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument(
        "--assert", dest="must", action="store_true", help=f"exit with 1 when process over OpenCV is above {LIMIT}"
    )
    args = parser.parse_args()
    tool = str(Path(args.tool).resolve())
    version = subprocess.run([tool, "--version"], check=True, capture_output=True, text=True).stdout.strip()
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    print(f"{cpu_model()}, {cores} cores")
    print(f"{version}, Python {platform.python_version()}, numpy {np.__version__}, OpenCV {cv2.__version__}")
    print(f"OpenCV uses {cv2.getNumThreads()} threads")
    with tempfile.TemporaryDirectory() as folder:
        photo, results, rows = (os.path.join(folder, name) for name in ("photo.jpg", "result.json", "particles.csv"))
        subprocess.run([tool, "render", photo, "--size", "4000x3000", "--scale", "20"], check=True)
        measure = [tool, "measure", photo, "--scale", "20", "--json", results, "--particles", rows]
        process = partial(subprocess.run, measure, check=True, stdout=subprocess.DEVNULL)
        opencv = partial(with_opencv, photo)
        # The first run of each warms the file cache and is not counted.
        count, areas = opencv()
        process()
        with open(rows) as f:
            particles = sum(1 for _ in f) - 1
        print(f"OpenCV finds {count} regions ({(areas >= 9).sum()} of 9 px or more), the tool {particles} particles")
        best_opencv = best_process = best_stages = math.inf
        for i in range(args.rounds):
            best_opencv = min(best_opencv, timed(opencv))
            best_process = min(best_process, timed(process))
            # The bench takes ten samples a run, so a third of the rounds is enough.
            if args.stages and i % 3 == 0:
                best_stages = min(best_stages, bench_whole(str(Path(args.stages).resolve()), photo))
        memory = peak_mib(measure)
    print(f"minimum of {args.rounds} rounds:")
    print(f"  OpenCV, in process          {1e3 * best_opencv:8.1f} ms")
    print(f"  lightsieve, whole process   {1e3 * best_process:8.1f} ms, peak memory {memory:.0f} MiB")
    ratio = best_process / best_opencv
    if args.stages:
        print(f"  lightsieve, in process      {1e3 * best_stages:8.1f} ms")
        print(f"ratio in process / OpenCV     {best_stages / best_opencv:8.2f}")
    print(f"ratio whole process / OpenCV  {ratio:8.2f}")
    if args.must and ratio > LIMIT:
        sys.exit(1)


if __name__ == "__main__":
    main()
