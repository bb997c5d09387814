"""Writes `turned.heic` from a PNG: a quarter turn away from upright, as a phone held upright stores its photos.

    pip install pillow pillow-heif
    python heic.py PHOTO.png turned.heic

The PNG is the picture `grounds()` of `tests/cli/pictures.rs`.
"""

import sys

import pillow_heif
from PIL import Image

pillow_heif.register_heif_opener()
picture = Image.open(sys.argv[1]).convert("RGB")
exif = picture.getexif()
exif[0x0112] = 6
picture.rotate(90, expand=True).save(sys.argv[2], quality=75, exif=exif.tobytes())
