"""How the invented dealer writes: words, remarks and slips for `tests.demo.make_sold`.

The remarks name no year and nothing that a clue is about; all of them are made up.
"""

from __future__ import annotations

# words that the library knows without her map
SYNONYMS = {
    "fibre": {"silk": "pure silk", "rayon": "viscose", "cotton": "lawn", "linen": "flax",
              "wool": "lambswool", "polyester": "poly", "nylon": "polyamide", "blend": "mixture"},
    "weave": {"plain": "habotai", "twill": "surah", "satin": "charmeuse", "crepe": "crepe de chine",
              "knit": "jersey", "gauze": "organza", "jacquard": "brocade", "lace-net": "tulle"},
    "hem": {"hand-rolled": "rolled by hand", "machine-stitched": "turned and stitched",
            "overlocked": "serged", "fringed": "fringe", "raw": "cut edge", "hemstitched": "drawn thread"},
    "hem_thread": {"monofilament": "clear nylon", "cotton": "mercerised", "polyester": "spun polyester"},
    "print_technique": {"hand-screen": "table printed", "machine-screen": "rotary", "resist": "batik",
                        "digital": "inkjet", "transfer": "heat transfer", "block": "wood block"},
    "uv_glow": {"none": "dull", "faint": "weak", "bright": "strong"},
    "signature": {"none": "unsigned", "small": "hidden", "large": "big"},
    "form": {"square": "headscarf", "oblong": "long scarf", "handkerchief": "hanky",
             "pocket-square": "pochette", "triangle": "half square"},
    "label": {"none-seen": "none", "cut-or-fragment": "snipped", "intact": "complete"},
    "label_make": {"woven": "woven label", "printed-cloth": "satin ribbon", "paper": "sticker"},
    "motif": {"floral-small": "sprigs", "floral-large": "cabbage roses", "leaves": "ferns",
              "geometric": "lattice", "dots": "spots", "stripes-checks": "tartan", "plain": "no pattern",
              "paisley": "boteh", "figures-scene": "people", "lettering": "words"},
    "palette": {"single-hue": "one colour", "pastel": "pale", "earth": "browns", "jewel": "rich",
                "acid-neon": "neon", "black-white": "black and white", "white-cream": "ivory"},
    "layout": {"all-over": "repeat", "bordered": "framed", "placed-scene": "picture", "ends": "end borders",
               "centre-medallion": "medallion", "colour-blocks": "patchwork", "ombre": "shaded"},
}  # fmt: skip

# a word that leaves open which of some values it is, and how often she writes it for any of them
COARSER = {
    "hem": (("hand-rolled", "machine-rolled"), "rolled", 0.1),
    "fibre": (("nylon", "polyester", "acrylic", "acetate"), "synthetic", 0.15),
    "print_technique": (("hand-screen", "machine-screen"), "screen-printed", 0.3),
    "motif": (("floral-small", "floral-large"), "floral", 0.15),
}

# words for a clue that nobody can read, beside clues that she noted
UNREADABLE = {
    "fibre": "slippery stuff", "weave": "the usual", "hem": "rooled", "print_technique": "lovely",
    "motif": "like the last lot", "palette": "bluish I'd say",
}  # fmt: skip
UNREADABLE_YEARS = ("grandmother's time", "sixty-ish", "62", "1975-1968")
UNREADABLE_WAYS = ("hearsay", "he swore it")

PRICE_WORDS = (
    "a song", "swap for a hat box", "three jars of plums", "gave it away", "see receipt book", "too little",
)  # fmt: skip

TYPING = {"in capitals": str.upper, "with a capital": str.capitalize, "blank behind": "{} ".format,
          "blank before": " {}".format, "two blanks behind": "{}  ".format}  # fmt: skip

REMARKS = (
    "bottom of the hat box", "smells of lavender", "tea stain, small", "wanted it for a cushion",
    "bought with two others", "went to the lady with the dog", "should have asked more", "bit limp",
    "a pull near one corner", "pressed flat for years", "kept it a week for myself", "nice hand",
    "sold within the hour", "had to iron it twice", "moth hole, told her so", "for the theatre people",
    "for a wedding", "a gift for her aunt", "she came back for it", "never worn I would say",
    "faded on the fold", "photographs badly", "better by daylight", "came in a biscuit tin",
    "from the attic above the bakery", "washed by somebody who ought not to", "rust mark from a pin",
    "the mate of it went last year", "asked about three times", "rolled in tissue", "bicycle courier",
    "haggled, politely", "hung in the window all month", "for framing", "the twins wanted one each",
    "would have kept it", "wrong colour for me", "drawer by the door", "slow to go", "quick to go",
    "mended once, well", "label man had a look", "no complaints", "sent with a note", "a bit of a mystery",
    "rainy Saturday", "last of that box", "somebody's best", "good for tying up tomatoes, he said",
    "swore it was worth more", "paid in coins", "left a deposit first", "traded up from a cheaper one",
    "crease will not come out", "crisp as new", "soft as butter", "her mother had one", "found behind the till",
)  # fmt: skip
