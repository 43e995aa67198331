"""Scratches: line responses over many angles, thresholded and joined."""

import numpy as np
from scipy import ndimage

LENGTH_PX, ANGLES = 21, 24  # ours
BESIDE_PX = 4.0  # from the line to the two beside it; ours
JOIN_PX = 10.0
LEAST_LENGTH_PX = 15.0


def kernel(angle, length=LENGTH_PX, beside=BESIDE_PX):
    """Mean along a line less the mean along two lines beside it: sums to 0."""
    side = int(length + 2 * beside) | 1
    middle = side // 2
    weights = np.zeros((side, side))
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    for offset, weight in ((0.0, 1.0), (beside, -0.5), (-beside, -0.5)):
        for t in np.arange(-(length - 1) / 2, (length + 1) / 2):
            x, y = middle + t * along + offset * across
            x0, y0 = int(np.floor(x)), int(np.floor(y))
            for i in (0, 1):
                for j in (0, 1):
                    share = (1 - abs(x - x0 - i)) * (1 - abs(y - y0 - j))
                    weights[y0 + j, x0 + i] += weight * share / length
    return weights


def response(values):
    """Largest size of the line responses over the angles, of lines dark or bright."""
    most = np.zeros_like(values)
    for i in range(ANGLES):
        line = ndimage.convolve(values, kernel(np.pi * i / ANGLES), mode="nearest")
        most = np.maximum(most, np.abs(line))
    return most


def pieces(most, inside, spreads):
    """Connected cells above mean and `spreads` standard deviations of the response."""
    threshold = most[inside].mean() + spreads * most[inside].std()
    labels, _ = ndimage.label((most > threshold) & inside, np.ones((3, 3)))
    return [np.argwhere(labels[box] == i + 1) + [box[0].start, box[1].start]
            for i, box in enumerate(ndimage.find_objects(labels))]  # fmt: skip


def long_axis(cells):
    """(length, unit direction, ends) of a set of cells."""
    middle = cells.mean(0)
    if len(cells) < 2:
        return 1.0, np.array([0.0, 1.0]), np.array([middle, middle])
    direction = np.linalg.svd(cells - middle, full_matrices=False)[2][0]
    along = (cells - middle) @ direction
    ends = middle + np.outer([along.min(), along.max()], direction)
    return np.ptp(along) + 1, direction, ends


def scratches(most, inside, spreads):
    """Pieces that continue one another are joined; what stays short is dropped."""
    parts = [(cells, *long_axis(cells)) for cells in pieces(most, inside, spreads)]
    parts = [p for p in parts if p[1] >= 4]
    group = list(range(len(parts)))
    for i, (_, _, direction, ends) in enumerate(parts):
        for j in range(i):
            gap = ends[:, None, :] - parts[j][3][None, :, :]
            near = np.hypot(gap[..., 0], gap[..., 1]).min() < JOIN_PX
            if near and abs(direction @ parts[j][2]) > np.cos(np.radians(15)):
                group = [group[j] if g == group[i] else g for g in group]
    joined = [
        np.vstack([p[0] for p, g in zip(parts, group) if g == name]) for name in sorted(set(group))
    ]
    return [cells for cells in joined if long_axis(cells)[0] >= LEAST_LENGTH_PX]
