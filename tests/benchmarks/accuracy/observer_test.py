"""The bench's own arithmetic: the observer against closed forms and simulation, and the fit."""

import math
import unittest

import numpy as np
from scipy import ndimage, special, stats

import chain_loss
import observer
import psychometric


class Observer(unittest.TestCase):
    def test_the_normal_law_is_scipys(self):
        for x in (-5.5, -1.0, 0.0, 2.3):
            self.assertAlmostEqual(observer.normal_cdf(x), special.ndtr(x), delta=1e-12)

    def test_a_feature_as_strong_as_the_threshold_is_found_half_of_the_time(self):
        self.assertEqual(observer.chance_found(5.0, 5.0), 0.5)
        self.assertAlmostEqual(observer.chance_found(6.6449, 5.0), 0.95, delta=1e-4)

    def test_the_threshold_gives_the_false_alarms_it_was_asked_for(self):
        for line in (False, True):
            for rate in (0.01, 0.05, 0.5):
                t = observer.threshold_for(rate, 1.5, line=line)
                self.assertAlmostEqual(observer.false_peaks(t, 1.5, line=line), rate, delta=1e-6)

    def test_peaks_of_matched_filtered_noise_are_as_many_as_the_formula_says(self):
        # White noise under a Gaussian filter of s pixels: roughness 1 / (2 s^2) a square pixel.
        rng = np.random.default_rng(3)
        s, side, pictures, threshold = 2.0, 400, 30, 3.6
        found = 0
        for _ in range(pictures):
            field = ndimage.gaussian_filter(rng.normal(size=(side, side)), s, mode="wrap")
            field *= 2 * math.sqrt(math.pi) * s  # the filtered noise's spread is 1 / (2 sqrt(pi) s)
            for signed in (field, -field):
                # Clusters above, not pixels; the field's bumps are much wider than a pixel.
                found += ndimage.label(signed > threshold)[1]
        expected = pictures * observer.false_peaks(threshold, 1 / (2 * s * s), side * side)
        self.assertGreater(expected, 300)
        self.assertAlmostEqual(found / expected, 1.0, delta=4 / math.sqrt(expected))

    def test_the_matched_filters_output_has_mean_d_prime_and_unit_spread(self):
        # Correlated noise: white plus a Gaussian-smoothed texture, whitened by its spectrum.
        rng = np.random.default_rng(4)
        side = 32
        y, x = np.indices((side, side)) - side // 2
        signal = 1.2 * np.exp(-(x**2 + y**2) / (2 * 1.5**2))
        f = np.hypot(*np.meshgrid(np.fft.fftfreq(side), np.fft.fftfreq(side)))
        power = 1.0 + 9.0 * np.exp(-((2 * np.pi * f * 1.2) ** 2))
        spectrum = np.fft.fft2(signal)
        d_prime = math.sqrt((abs(spectrum) ** 2 / power).sum() / side**2)
        template = np.fft.ifft2(spectrum / power).real
        outputs = []
        for _ in range(3000):
            noise = np.fft.ifft2(np.fft.fft2(rng.normal(size=(side, side))) * np.sqrt(power)).real
            outputs.append((template * (signal + noise)).sum() / d_prime)
        # Mean and spread of 3,000 draws: four standard errors.
        self.assertAlmostEqual(np.mean(outputs), d_prime, delta=4 / math.sqrt(3000))
        self.assertAlmostEqual(np.std(outputs), 1.0, delta=4 / math.sqrt(6000))
        # And it finds what Neyman and Pearson say that it does.
        found = np.mean(np.array(outputs) > d_prime - 1.0)
        expected = observer.chance_found(d_prime, d_prime - 1.0)
        self.assertAlmostEqual(found, expected, delta=4 * math.sqrt(0.84 * 0.16 / 3000))

    def test_independent_places_give_the_false_alarms_of_a_single_test_each(self):
        t = observer.threshold_for(0.05, 1.5)
        places = observer.positions(0.05, t)
        self.assertAlmostEqual(places * 2 * stats.norm.sf(t), 0.05, delta=1e-12)
        self.assertGreater(places, observer.CONTACT_ZONE_UM2 * 1.5)


class StoredFile(unittest.TestCase):
    def test_channels_see_a_round_speck_in_white_noise_as_well_as_the_matched_filter(self):
        rng = np.random.default_rng(6)
        y, x = np.indices((33, 33)) - 16
        signal = np.exp(-(x**2 + y**2) / (2 * 2.0**2))
        signal *= 6 / np.sqrt((signal**2).sum())  # d' = 6 in noise of spread 1
        seen_by = chain_loss.channels(33, 2 * np.sqrt(2 * np.pi) * 2.0)
        noise = rng.normal(size=(1200, 33 * 33)) @ seen_by
        got = chain_loss.hotelling(noise, signal.ravel() @ seen_by)
        # Spread of a measured spread: 1 / sqrt(2 n); training on 900 loses another half per cent.
        self.assertAlmostEqual(got, 6.0, delta=6 * (4 / math.sqrt(2400) + 0.005))


class Curve(unittest.TestCase):
    def test_the_fit_gives_back_the_curve_that_made_the_data(self):
        rng = np.random.default_rng(5)
        d_prime = np.exp(rng.uniform(np.log(2), np.log(40), 3000))
        hit = rng.random(3000) < psychometric.curve(d_prime, math.log(7.0), 0.25, 0.02)
        fitted = psychometric.fit(d_prime, hit)
        self.assertAlmostEqual(psychometric.point_at(fitted, 0.5), 7.04, delta=0.35)
        self.assertAlmostEqual(psychometric.point_at(fitted, 0.95), 11.5, delta=1.5)
        self.assertAlmostEqual(fitted[2], 0.02, delta=0.015)

    def test_nothing_is_fitted_where_all_or_none_are_found(self):
        self.assertIsNone(psychometric.fit(np.arange(1, 20), np.ones(19)))
        self.assertIsNone(psychometric.point_at(None, 0.5))

    def test_no_point_is_given_beyond_what_the_curve_reaches(self):
        self.assertIsNone(psychometric.point_at((1.0, 0.2, 0.1), 0.95))

    def test_intervals_of_shares_are_wilsons(self):
        # Newcombe, Statistics in Medicine 17 (1998), method 3 (from memory).
        for found, total, low, high in (
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ):
            got = psychometric.wilson(found, total)
            self.assertAlmostEqual(got[0], low, delta=6e-5)
            self.assertAlmostEqual(got[1], high, delta=6e-5)


if __name__ == "__main__":
    unittest.main()
