"""How well each mark can be seen: contrast and matched-filter signal to noise, from the pictures.

The noise is that of the same camera's picture of the same face without marks, at other angles
around the fibre, so grain, mottle, compression and sharpening all count.
"""

import numpy as np

LEAST_NOISE = 0.4  # grey levels, standard deviation of a pixel


def _template(with_marks, without, view_px, mark, um_per_px):
    reach = mark.extent_um * 1.15 + 1.5
    x, y = view_px
    half = int(np.ceil(reach / um_per_px)) + 2
    h, w = without.shape
    box = (
        max(int(x) - half, 0),
        max(int(y) - half, 0),
        min(int(x) + half + 1, w),
        min(int(y) + half + 1, h),
    )
    if box[2] - box[0] < 3 or box[3] - box[1] < 3:
        return None, box
    part = slice(box[1], box[3]), slice(box[0], box[2])
    return with_marks[part] - without[part], box


def matched_snr(template, residual, box, centre_px, rng, num_places=48):
    """Response to the mark itself over the spread of responses at the same radius elsewhere."""
    t = template - template.mean()
    signal = float((t * template).sum())
    h, w = residual.shape
    bh, bw = template.shape
    middle = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])
    away = middle - centre_px
    radius = np.hypot(*away)
    num_places = num_places if bh * bw < 100000 else 20
    responses = []
    for _ in range(num_places):
        turn = rng.uniform(0, 2 * np.pi)
        jitter = rng.normal(0, 2 + 0.1 * min(bh, bw), 2)
        place = centre_px + radius * np.array([np.cos(turn), np.sin(turn)]) + jitter
        x0 = int(np.clip(place[0] - bw / 2, 0, max(w - bw, 0)))
        y0 = int(np.clip(place[1] - bh / 2, 0, max(h - bh, 0)))
        here = residual[y0 : y0 + bh, x0 : x0 + bw]
        responses.append(float((t * here).sum()))
    responses = np.array(responses)
    spread = 1.4826 * np.median(np.abs(responses - np.median(responses)))
    # Compression can wipe the noise out altogether; a grey level of rounding is always left.
    return signal / max(spread, LEAST_NOISE * float(np.sqrt((t * t).sum())), 1e-6)
    return signal / max(spread, 1e-6)


def classify(snr, contrast, kind):
    need = 0.035 if kind == "scratch" else 0.06
    if snr >= 10 and contrast >= need:
        return "clear"
    if snr >= 6 and contrast >= 0.6 * need:
        return "faint"
    return "hidden"


def assess(marks, with_marks, without, plain, noisy_without, view, enlarge, rng):
    """Adds contrast_seen, snr and visibility to every mark's truth."""
    residual = noisy_without - plain
    centre = (np.array(view.centre) + 0.5) * enlarge - 0.5
    um = view.um_per_px / enlarge
    for mark in marks:
        at = (view.px_from_um(np.atleast_2d(mark.centre))[0] + 0.5) * enlarge - 0.5
        template, box = _template(with_marks, without, at, mark, um)
        if template is None or np.abs(template).max() < 0.5:
            mark.truth.update(snr=0.0, contrast_seen=0.0, visibility="hidden")
            continue
        snr = matched_snr(template, residual, box, centre, rng)
        part = without[box[1] : box[3], box[0] : box[2]]
        peak = np.sort(np.abs(template).ravel())[-max(3, template.size // 400) :].mean()
        contrast = float(peak / max(4.0, np.median(part)))
        mark.truth.update(
            snr=round(float(snr), 1),
            contrast_seen=round(contrast, 3),
            visibility=classify(snr, contrast, mark.kind),
        )


def probe_sight(probes, with_probes, without, plain, noisy_without, view, enlarge, rng):
    """Median signal to noise and contrast of specks that are as hard to see as must be seen."""
    residual = noisy_without - plain
    centre = (np.array(view.centre) + 0.5) * enlarge - 0.5
    um = view.um_per_px / enlarge
    snrs, contrasts = [], []
    for probe in probes:
        at = (view.px_from_um(np.atleast_2d(probe.centre))[0] + 0.5) * enlarge - 0.5
        template, box = _template(with_probes, without, at, probe, um)
        if template is None:
            continue
        snrs.append(matched_snr(template, residual, box, centre, rng, 24))
        level = max(4.0, float(np.median(without[box[1] : box[3], box[0] : box[2]])))
        contrasts.append(float(np.abs(template).max()) / level)
    return (float(np.median(snrs)), float(np.median(contrasts))) if snrs else (0.0, 0.0)


def blown_share(picture, view, enlarge, diameter_um):
    """Share of the innermost zone that is white or black and shows nothing."""
    fine = view.finer(enlarge) if enlarge > 1 else view
    x, y = fine.um_grid()
    inside = np.hypot(x, y) < diameter_um / 2
    levels = picture[inside]
    return float(((levels > 253.5) | (levels < 1.5)).mean()) if levels.size else 0.0
