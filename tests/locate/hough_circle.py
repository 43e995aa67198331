#!/usr/bin/python3
"""Finds one circle with scikit-image's Hough transform: hough_circle.py PICTURE.pgm FROM TO

Prints x, y and radius in pixels. Radii from FROM to TO are tried, one pixel apart.
"""

import sys

import numpy as np
from skimage import feature, io, transform


def main():
    picture = io.imread(sys.argv[1]).astype(float) / 255
    radii = np.arange(int(sys.argv[2]), int(sys.argv[3]) + 1)
    edges = feature.canny(picture, sigma=1.5)
    accumulator = transform.hough_circle(edges, radii)
    _, x, y, radius = transform.hough_circle_peaks(accumulator, radii, total_num_peaks=1)
    print(x[0], y[0], radius[0])


if __name__ == "__main__":
    main()
