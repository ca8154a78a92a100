"""Makes the fonts and music signs that the sheet is set with: `python tests/make_fonts.py FOLDER`.

In: a folder with the Noto fonts of the Debian package fonts-noto-core (SIL Open Font License 1.1, no reserved name).
Out: in `compiler/lickwright/engraving/fonts/` subsets of the text faces, with accidentals from Noto Sans Symbols, and the outlines of some music signs.
Wants fonttools, which neither the program nor its tests need.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from fontTools import subset
from fontTools.pens.boundsPen import BoundsPen
from fontTools.pens.qu2cuPen import Qu2CuPen
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

OUT = Path(__file__).parents[1] / "compiler" / "lickwright" / "engraving" / "fonts"
FACES = {
    "sans": "NotoSans-Regular",
    "sans-bold": "NotoSans-Bold",
    "serif": "NotoSerif-Regular",
    "serif-italic": "NotoSerif-Italic",
}
CHARACTERS = [
    *range(0x20, 0x7F), *range(0xA0, 0x180), *range(0x386, 0x3CF), *range(0x400, 0x460), *range(0x2010, 0x2027),
    0x2030, 0x2032, 0x2033, 0x2039, 0x203A, 0x2044, 0x20AC, 0x2122, 0x2212,
]  # fmt: skip
# The text faces of the family have no accidentals; those of Noto Sans Symbols are put in, a little higher than a capital: code and scale of each.
ACCIDENTALS = {0x266D: 1.27, 0x266E: 1.2, 0x266F: 0.98}
ACCIDENTALS_OF = {"sans": "Regular", "sans-bold": "Bold", "serif": "Regular", "serif-italic": "Regular"}
CAPITAL, BESIDE = 714, 40  # font units: the height of capitals, and the ground on either side of an accidental
SIGNS = {
    "g-clef": 0x1D11E, "f-clef": 0x1D122, "rest-1": 0x1D13B, "rest-2": 0x1D13C, "rest-4": 0x1D13D, "rest-8": 0x1D13E, "rest-16": 0x1D13F,
    "rest-32": 0x1D140, "flag-8": 0x1D16E, "flag-16": 0x1D16F, "flag-32": 0x1D170, "fermata": 0x1D110, "segno": 0x1D10B,
    "coda": 0x1D10C, "flat": 0x266D, "natural": 0x266E, "sharp": 0x266F, "double-sharp": 0x1D12A, "double-flat": 0x1D12B,
    "flat-up": 0x1D12C, "natural-up": 0x1D12E, "sharp-up": 0x1D130,
    "head-1": 0x1D15D, "head-2": 0x1D157, "head-4": 0x1D158, "head-x": 0x1D143,
}  # fmt: skip
SPACE, MIDDLE = 250, 500  # font units of a staff space, and of the middle line above the base line


def text_faces(folder: Path) -> None:
    for name, source in FACES.items():
        options = subset.Options(
            layout_features=[],
            hinting=False,
            notdef_outline=True,
            name_IDs=[0, 1, 2, 3, 4, 6, 13],
            drop_tables=["GDEF", "GPOS", "GSUB"],
        )
        font = subset.load_font(str(folder / f"{source}.ttf"), options)
        maker = subset.Subsetter(options)
        maker.populate(unicodes=CHARACTERS)
        maker.subset(font)
        add_accidentals(font, TTFont(folder / f"NotoSansSymbols-{ACCIDENTALS_OF[name]}.ttf"))
        font["head"].created = font["head"].modified = 0
        font.recalcTimestamp = False
        font.save(OUT / f"{name}.ttf")


def add_accidentals(font: TTFont, symbols: TTFont) -> None:
    """Put the accidentals of `symbols` into a face, each with its middle half way up a capital."""
    glyphs, names = symbols.getGlyphSet(), symbols.getBestCmap()
    for code, scale in ACCIDENTALS.items():
        bounds = BoundsPen(glyphs)
        glyphs[names[code]].draw(bounds)
        left, low, right, high = bounds.bounds
        pen = TTGlyphPen(None)
        place = (scale, 0, 0, scale, BESIDE - left * scale, CAPITAL / 2 - (low + high) / 2 * scale)
        glyphs[names[code]].draw(TransformPen(pen, place))
        name = f"uni{code:04X}"
        font.setGlyphOrder([*font.getGlyphOrder(), name])
        glyph = pen.glyph()
        glyph.coordinates.toInt()
        glyph.recalcBounds(font["glyf"])
        font["glyf"][name] = glyph
        font["hmtx"][name] = (round((right - left) * scale) + 2 * BESIDE, BESIDE)
        for table in font["cmap"].tables:
            if table.isUnicode():
                table.cmap[code] = name


def music_signs(folder: Path) -> None:
    """Each sign as a path in staff spaces, y downwards, its left edge at 0 and the middle line of the staff at 0."""
    font = TTFont(folder / "NotoMusic-Regular.ttf")
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    found = {}
    for sign, code in SIGNS.items():
        glyph = glyphs[names[code]]
        bounds = BoundsPen(glyphs)
        glyph.draw(bounds)
        left, low, right, high = bounds.bounds
        pen = SVGPathPen(glyphs, ntos=lambda number: f"{number:.3f}".rstrip("0").rstrip(".") or "0")
        place = TransformPen(pen, (1 / SPACE, 0, 0, -1 / SPACE, -left / SPACE, MIDDLE / SPACE))
        glyph.draw(Qu2CuPen(place, 1.0, all_cubic=True))
        top, bottom = (MIDDLE - high) / SPACE, (MIDDLE - low) / SPACE
        found[sign] = [round((right - left) / SPACE, 3), round(top, 3), round(bottom, 3), pen.getCommands()]
    lines = ",\n".join(f"{json.dumps(name)}:{json.dumps(row)}" for name, row in found.items())
    (OUT / "music.json").write_text("{" + lines + "}\n", "utf-8")


if __name__ == "__main__":
    OUT.mkdir(parents=True, exist_ok=True)
    text_faces(Path(sys.argv[1]))
    music_signs(Path(sys.argv[1]))
