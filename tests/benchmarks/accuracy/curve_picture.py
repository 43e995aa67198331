"""Detection curves as a picture: shares found by bins of d' with their intervals, the fitted curve,
and the ideal observer's, one panel a kind. Pillow only."""

import math

import numpy as np
from PIL import Image, ImageDraw, ImageFont

import observer
import psychometric

# Okabe and Ito's colours.
BLUE, ORANGE, GREY, BLACK = "#0072B2", "#D55E00", "#999999", "#000000"
PANEL, GAP, MARGIN = (520, 360), 70, 70
LOW, HIGH = 2.0, 60.0
FONT = "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf"
KINDS = ("speck", "pit", "scratch", "film")


class Panel:
    def __init__(self, drawing, left, top, font):
        self.drawing, self.left, self.top, self.font = drawing, left, top, font

    def at(self, d_prime, share):
        across = math.log(d_prime / LOW) / math.log(HIGH / LOW)
        return self.left + across * PANEL[0], self.top + (1 - share) * PANEL[1]

    def frame(self, title):
        d = self.drawing
        for share in (0, 0.25, 0.5, 0.75, 0.95, 1):
            (x0, y), (x1, _) = self.at(LOW, share), self.at(HIGH, share)
            d.line([x0, y, x1, y], fill="#dddddd" if 0 < share < 1 else BLACK)
            d.text((x0 - 8, y), f"{100 * share:.0f} %", fill=BLACK, font=self.font, anchor="rm")
        for tick in (2, 3, 4, 5, 6, 8, 12, 20, 40, 60):
            x, y = self.at(tick, 0)
            d.line([x, y, x, y + 5], fill=BLACK)
            d.text((x, y + 8), str(tick), fill=BLACK, font=self.font, anchor="ma")
        middle = self.left + PANEL[0] / 2
        d.text((middle, self.top - 10), title, fill=BLACK, font=self.font, anchor="mb")
        below = self.top + PANEL[1] + 28
        d.text((middle, below), "signal-to-noise d'", fill=BLACK, font=self.font, anchor="ma")

    def curve(self, chance, colour, dash=False):
        points = [self.at(x, chance(x)) for x in np.geomspace(LOW, HIGH, 160)]
        for i in range(0, len(points) - 1, 4 if dash else 1):
            self.drawing.line([*points[i], *points[min(i + (2 if dash else 1), 159)]], colour, 3)

    def bins(self, snr, hit):
        for low, high, k, n in psychometric.binned(snr, hit):
            if n < 4:
                continue
            inside = (snr >= low) & (snr < high)
            middle = min(HIGH, float(np.exp(np.mean(np.log(snr[inside])))))
            least, most = psychometric.wilson(k, n)
            (x, y0), (_, y1) = self.at(middle, least), self.at(middle, most)
            _, y = self.at(middle, k / n)
            self.drawing.line([x, y0, x, y1], fill=BLUE, width=2)
            self.drawing.ellipse([x - 5, y - 5, x + 5, y + 5], fill=BLUE)


def draw(path, cases, rows):
    kinds = [k for k in KINDS if any(c.kind == k for c in cases)]
    columns = 2
    lines = math.ceil(len(kinds) / columns)
    size = (
        MARGIN + columns * (PANEL[0] + GAP),
        50 + lines * (PANEL[1] + GAP + 20) + 10,
    )
    image = Image.new("RGB", size, "white")
    drawing = ImageDraw.Draw(image)
    font = ImageFont.truetype(FONT, 15)
    fits = {r["what"]: r for r in rows}
    for i, kind in enumerate(kinds):
        left = MARGIN + (i % columns) * (PANEL[0] + GAP)
        top = 50 + (i // columns) * (PANEL[1] + GAP + 20)
        panel = Panel(drawing, left, top, font)
        row = fits[kind]
        panel.frame(f"{kind}: {row['features']} features, ratio {row['ratio'] or math.nan:.2f}")
        panel.curve(lambda x, t=row["ideal"]: observer.chance_found(x, t), ORANGE, dash=True)
        if row["fit"]:
            panel.curve(lambda x, p=row["fit"]: float(psychometric.curve(x, *p)), BLUE)
        some = [c for c in cases if c.kind == kind]
        panel.bins(np.array([c.snr for c in some]), np.array([c.found for c in some]))
    words = "dots and line: endgrade, with 95 % intervals;  dashes: ideal observer, same false alarms"
    drawing.text((size[0] / 2, size[1] - 12), words, fill=BLACK, font=font, anchor="mb")
    image.save(path)
