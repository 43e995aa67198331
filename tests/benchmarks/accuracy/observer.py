"""The ideal observer: how strong a feature must be before anybody could tell that it is there.

The renderer's truth holds each feature's d', the signal-to-noise of the matched filter that knows
the feature, the background and the noise exactly and reads the raw sensor: sqrt(sum of the whitened
difference squared). Shot, read and rounding noise are white; the ferrule's grain and polishing lines
are Gaussian noise of their known spectrum after optics and pixel, and the difference is whitened by
it. By Neyman and Pearson's lemma no test of the same false-alarm rate finds more often than this
filter held against a threshold; nothing that a camera does after its sensor (sharpening, tone curve,
demosaicing, JPEG) adds to it, so it bounds what can be found in the stored file from above. What the
camera's own chain costs is measured apart (chain_loss.py).

Who searches a face is fooled at more than one place. The filter's output on a clean face is a smooth
Gaussian field of unit variance, and the mean number of its peaks above t is the field's expected
Euler characteristic (Adler, The Geometry of Random Fields, 1981, theorem 6.9.3; for images: Worsley
et al., Human Brain Mapping 4 (1996), table II; from memory), two-sided since features are dark or
bright:

  compact, over an area A:      N(t) = 2 A sqrt(det L) (2 pi)^-1.5 t exp(-t^2 / 2)
  line, over A and directions:  N(t) = 2 V sqrt(det L) (2 pi)^-2 (t^2 - 1) exp(-t^2 / 2)

where L is the covariance of the field's gradient. The ideal observer's threshold is the t at which
N(t) is the number of false features that the engine has on a clean picture; a feature of d' = t is
then found half of the time.
"""

import math

CONTACT_ZONE_UM2 = math.pi * 125.0**2


def normal_cdf(x):
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def point_roughness(diameter_um, blur_sigma_um):
    """sqrt(det L), per um^2, of the filter for a blurred disc in white noise.

    A disc of diameter d has variance d^2 / 16 along either axis; the blurred one is taken as the
    Gaussian of the summed variance s^2. A Gaussian's output has the correlation exp(-r^2 / 4 s^2),
    whose curvature at 0 is 1 / (2 s^2) along either axis.
    """
    variance = blur_sigma_um**2 + diameter_um**2 / 16.0
    return 1.0 / (2.0 * variance)


def line_roughness(length_um, width_um, blur_sigma_um):
    """sqrt(det L), per um^2 and radian, of the filter for a blurred bar in white noise.

    Across: 1 / (2 s^2) with s^2 = blur^2 + width^2 / 12. Turning by a moves a point at distance u
    along the bar by u a across it, and the mean of u^2 is length^2 / 12. Along: only the two ends
    change; each is a Gaussian edge, whose squared slope sums to 1 / (2 sqrt(pi) blur).
    """
    across = 1.0 / (2.0 * (blur_sigma_um**2 + width_um**2 / 12.0))
    turning = across * length_um**2 / 12.0
    along = 1.0 / (math.sqrt(math.pi) * blur_sigma_um * length_um)
    return math.sqrt(across * turning * along)


def false_peaks(threshold, roughness, area_um2=CONTACT_ZONE_UM2, line=False):
    """Mean number of peaks above `threshold` on a clean face, of either sign."""
    gauss = math.exp(-0.5 * threshold**2)
    if line:
        return (
            2 * area_um2 * math.pi * roughness * (threshold**2 - 1) * gauss / (2 * math.pi) ** 2
        )
    return 2 * area_um2 * roughness * threshold * gauss / (2 * math.pi) ** 1.5


def threshold_for(false_alarms, roughness, area_um2=CONTACT_ZONE_UM2, line=False):
    """The threshold with that mean number of false peaks. N(t) falls from t = 2 on."""
    low, high = 2.0, 12.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if false_peaks(middle, roughness, area_um2, line) > false_alarms:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def positions(false_alarms, threshold):
    """The number of independent places that would give as many false alarms at that threshold."""
    return false_alarms / (2 * normal_cdf(-threshold))


def chance_found(d_prime, threshold):
    """Neyman-Pearson: the chance that a feature of d' clears the threshold."""
    return normal_cdf(d_prime - threshold)


def threshold_of(feature, blur_sigma_um, false_alarms):
    """The ideal observer's threshold for one true feature (a record of truth.json)."""
    if feature["kind"] == "scratch":
        roughness = line_roughness(feature["length_um"], feature["width_um"], blur_sigma_um)
        return threshold_for(false_alarms, roughness, line=True)
    roughness = point_roughness(feature["diameter_enclosing_um"], blur_sigma_um)
    return threshold_for(false_alarms, roughness)
