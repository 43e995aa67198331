"""Region-like defects: difference of a local maximum and a local minimum."""

import numpy as np
from scipy import ndimage

WINDOW_PX = 5  # of the maximum and minimum; ours


def response(values, window=WINDOW_PX):
    """Local maximum less local minimum over a square window, cell by cell."""
    half = window // 2
    padded = np.pad(values, half, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, (window, window))
    return windows.max((2, 3)) - windows.min((2, 3))


def threshold_from(difference, inside, spreads):
    """Mean and `spreads` standard deviations of the difference over the face."""
    return difference[inside].mean() + spreads * difference[inside].std()


def regions(difference, inside, spreads, least_cells=4):
    """Connected cells above the threshold, as arrays of (row, column)."""
    above = (difference > threshold_from(difference, inside, spreads)) & inside
    labels, count = ndimage.label(above, np.ones((3, 3)))
    found = [np.argwhere(labels[box] == i + 1) + [box[0].start, box[1].start]
             for i, box in enumerate(ndimage.find_objects(labels))]  # fmt: skip
    return [cells for cells in found if len(cells) >= least_cells]
