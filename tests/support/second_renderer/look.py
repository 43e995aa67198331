#!/usr/bin/python3
"""Contact sheets of a set: look.py DIR OUT_PREFIX [--whole]"""

import json
import pathlib
import sys

from contact_sheet import sheet

folder, prefix = pathlib.Path(sys.argv[1]), sys.argv[2]
rows = json.loads((folder / "truth.json").read_text())
for start in range(0, len(rows), 20):
    entries = [
        (
            folder / r["file"],
            [
                f"{r['file'][:4]} {r['limits']} {r['verdict']}{' BORDER' if r['borderline'] else ''} {r['style']}",
                f"{r.get('scenario', '')}: {r['why']}"[:64],
            ],
            r,
        )
        for r in rows[start : start + 20]
    ]
    sheet(entries, f"{prefix}-{start // 20:02d}.png", crop="--whole" not in sys.argv)
