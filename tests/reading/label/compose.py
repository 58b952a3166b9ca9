"""Label texts composed from marks, with the marks that they carry: what a reader must find.

    python -m tests.reading.label.compose data/labels.csv

Everything is invented: makers, addresses, numbers. The phrases are written here and not taken from
``label_words.csv``, so that a phrase the reader lacks shows. Years are taken from ``label_rules.csv``
and ``label_numbers.csv``.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple, TypeVar

import numpy as np

from scarfdate.conventions import MARKETS
from scarfdate.tables.knots import ANY
from scarfdate.tables.label import LabelRule, LabelRules
from scarfdate.tables.priors import load_priors
from tests.reading.label.written import WRITTEN

SEED, ROWS = 2026, 400
FIRST_DECADE, LAST_DECADE, LAST_YEAR = 1890, 2020, 2026
LAST_DESIGN = 1950  # later ones would be legal: so the composed labels stay as they are
CUT_SHARE = 0.09  # of the labels are cut
INTACT, FRAGMENT = "intact", "cut-or-fragment"

Pair = tuple[str, str]  # mark and value
T = TypeVar("T")


@dataclass(frozen=True)
class Composed:
    """A label text, where and when it was offered, and its marks in order of name."""

    text: str
    market: str
    year: int
    marks: tuple[Pair, ...]
    state: str = INTACT


class Part(NamedTuple):
    """A line, or a piece of one, and the marks in it; ``fixed``: the capitals matter."""

    text: str
    marks: tuple[Pair, ...] = ()
    fixed: bool = False


# Made-up words; a likeness to a name that exists is chance
NAMES = (
    "Brindlemoor", "Vexlathan", "Orrowisp", "Thalloquin", "Pemberquill", "Sorvanelle", "Ulverdash",
    "Kestrillow", "Dravimont", "Frostelline", "Yarrowmede", "Tindaravel", "Obblequist", "Jessamaund",
    "Larkwither", "Mirrovane", "Quentrasse", "Zephirelle", "Woolvercote", "Abberwyne", "Crundelheim",
    "Ostravanti", "Belloquarto", "Gnarrowby", "Ellifrowne", "Hobbendale", "Ravissoleil", "Umbrivelle",
)  # fmt: skip
KATAKANA = ("ヒノヅカ", "ミズガラ", "トマリノ")

FIRMS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "en": (
        ("{} SCARF CO.", "co"), ("{}, INC.", "inc"), ("{} CORP.", "inc"), ("{} LTD.", "ltd"),
        ("{} & DAUGHTERS LTD", "ltd"), ("{} & Co. Ltd.", "ltd"), ("{} PLC", "plc"), ("{} LLC", "llc"),
        ("{} Incorporated", "inc"), ("The {} Company", "co"),
    ),
    "fr": (("Soieries {} S.A.R.L.", "sarl"), ("{} & Cie", "co"), ("Maison {} S.A.", "sa")),
    "it": (("Ditta {} S.r.l.", "srl"), ("{} S.p.A.", "spa"), ("SETERIE {} SRL", "srl")),
    "de": (("{} GmbH", "gmbh"), ("Seidenweberei {} GmbH", "gmbh"), ("{} KG", "kg"), ("{} AG", "ag")),
    "es": (("Sedas {} S.A.", "sa"),),
    "nl": (("{} B.V.", "bv"), ("{} N.V.", "nv")),
    "ja": (("株式会社{}", "kk"),),
}  # fmt: skip

FIBRES: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "en": {
        "silk": ("SILK",), "wool": ("WOOL", "Virgin Wool"), "cotton": ("COTTON",),
        "linen": ("LINEN",), "rayon": ("RAYON",), "acetate": ("ACETATE",), "nylon": ("NYLON",),
        "polyester": ("POLYESTER",), "acrylic": ("ACRYLIC",), "modacrylic": ("MODACRYLIC",),
        "cashmere": ("CASHMERE",), "viscose": ("VISCOSE",), "viscose-rayon": ("VISCOSE RAYON",),
        "modal": ("MODAL",), "lyocell": ("LYOCELL",), "spandex": ("SPANDEX",),
        "elastane": ("ELASTANE",), "metallic": ("METALLIC",), "mohair": ("MOHAIR",),
        "alpaca": ("ALPACA",), "ramie": ("RAMIE",), "cupro": ("CUPRO",), "polyamide": ("POLYAMIDE",),
        "triacetate": ("TRIACETATE",), "reprocessed-wool": ("REPROCESSED WOOL",),
        "reused-wool": ("REUSED WOOL",), "recycled-wool": ("RECYCLED WOOL",),
        "bamboo-rayon": ("RAYON MADE FROM BAMBOO",), "bamboo": ("BAMBOO",),
        "acetate-rayon": ("ACETATE RAYON",), "other-fibre": ("OTHER FIBERS",), "azlon": ("AZLON",),
        "olefin": ("OLEFIN",), "vinyon": ("VINYON",), "saran": ("SARAN",), "triexta": ("TRIEXTA",),
        "pla": ("PLA",), "lastol": ("LASTOL",), "elastoester": ("ELASTOESTER",),
        "melamine": ("MELAMINE",), "rubber": ("RUBBER",), "polypropylene": ("POLYPROPYLENE",),
        "fluoropolymer": ("FLUOROPOLYMER",), "elasterell": ("ELASTERELL-P",),
    },
    "fr": {
        "silk": ("SOIE",), "wool": ("LAINE", "laine vierge"), "cotton": ("COTON",), "linen": ("LIN",),
        "rayon": ("RAYONNE", "Rayonne"), "viscose": ("VISCOSE",), "acetate": ("ACÉTATE",),
        "polyester": ("POLYESTER",), "acrylic": ("ACRYLIQUE",), "cashmere": ("CACHEMIRE",),
        "elastane": ("ÉLASTHANNE",), "polyamide": ("POLYAMIDE",), "modal": ("MODAL",),
        "alpaca": ("ALPAGA",), "other-fibre": ("AUTRES FIBRES",),
    },
    "it": {
        "silk": ("SETA",), "wool": ("LANA", "lana vergine"), "cotton": ("COTONE",), "linen": ("LINO",),
        "viscose": ("VISCOSA",), "acetate": ("ACETATO",), "polyester": ("POLIESTERE",),
        "polyamide": ("POLIAMMIDE",), "acrylic": ("ACRILICO",), "rayon": ("RAION",),
        "cashmere": ("CASHMERE",), "elastane": ("ELASTAN",), "other-fibre": ("ALTRE FIBRE",),
    },
    "de": {
        "silk": ("Seide",), "wool": ("Wolle", "Schurwolle"), "cotton": ("Baumwolle",),
        "linen": ("Leinen",), "viscose": ("Viskose",), "acetate": ("Acetat",),
        "polyester": ("Polyester",), "polyamide": ("Polyamid",), "acrylic": ("Polyacryl",),
        "cashmere": ("Kaschmir",), "elastane": ("Elastan",), "rayon": ("Rayon",),
    },
    "es": {
        "silk": ("SEDA",), "wool": ("LANA",), "cotton": ("ALGODÓN",), "linen": ("LINO",),
        "viscose": ("VISCOSA",), "polyester": ("POLIÉSTER",), "acrylic": ("ACRÍLICO",),
        "polyamide": ("POLIAMIDA",), "rayon": ("RAYÓN",), "elastane": ("ELASTANO",),
    },
    "nl": {
        "silk": ("ZIJDE",), "wool": ("WOL", "SCHEERWOL"), "cotton": ("KATOEN",), "linen": ("LINNEN",),
        "viscose": ("VISCOSE",), "polyester": ("POLYESTER",), "acrylic": ("ACRYL",),
        "polyamide": ("POLYAMIDE",),
    },
    "ja": {
        "silk": ("絹", "シルク"), "wool": ("毛",), "cotton": ("綿",), "linen": ("麻",),
        "rayon": ("レーヨン",), "polyester": ("ポリエステル",), "acrylic": ("アクリル",),
        "nylon": ("ナイロン",), "cupro": ("キュプラ",), "acetate": ("アセテート",),
        "cashmere": ("カシミヤ",), "elastane": ("ポリウレタン",),
    },
}  # fmt: skip
# without a percentage, as it was usual before the textile acts
PLAIN: Mapping[str, tuple[tuple[str, str], ...]] = {
    "en": (
        ("ALL SILK", "silk"), ("PURE SILK", "silk"), ("SILK", "silk"), ("PURE DYE SILK", "pure-dye-silk"),
        ("GENUINE SILK", "silk"), ("SILK CREPE", "silk"), ("SILK TWILL", "silk"), ("RAYON", "rayon"),
        ("ART SILK", "artificial-silk"), ("ARTIFICIAL SILK", "artificial-silk"), ("ALL WOOL", "wool"),
        ("PURE LINEN", "linen"), ("NYLON", "nylon"), ("ACETATE RAYON", "acetate-rayon"),
        ("SPUN RAYON", "rayon"), ("FINE COTTON LAWN", "cotton"), ("WEIGHTED SILK", "weighted-silk"),
        ("POLYESTER", "polyester"), ("PURE VIRGIN WOOL", "wool"), ("MIXED FIBERS", "mixed-fibre"),
    ),
    "fr": (
        ("PURE SOIE", "silk"), ("SOIE NATURELLE", "silk"), ("TOUT SOIE", "silk"),
        ("PURE LAINE", "wool"), ("SOIE ARTIFICIELLE", "artificial-silk"), ("RAYONNE", "rayon"),
    ),
    "it": (("PURA SETA", "silk"), ("SETA PURA", "silk"), ("SETA ARTIFICIALE", "artificial-silk"),
           ("LANA VERGINE", "wool")),
    "de": (("Reine Seide", "silk"), ("Kunstseide", "artificial-silk"), ("Schurwolle", "wool"),
           ("Rayon", "rayon")),
    "es": (("SEDA NATURAL", "silk"), ("PURA SEDA", "silk"), ("SEDA ARTIFICIAL", "artificial-silk")),
    "nl": (("ZUIVERE ZIJDE", "silk"), ("KUNSTZIJDE", "artificial-silk"), ("SCHEERWOL", "wool")),
    "ja": (("絹", "silk"), ("綿", "cotton")),
}  # fmt: skip
# equal in law to 100 %
WHOLE = frozenset(
    ("ALL SILK", "PURE SILK", "ALL WOOL", "PURE LINEN", "PURE SOIE", "TOUT SOIE", "PURE LAINE", "PURA SETA",
     "SETA PURA", "Reine Seide", "PURA SEDA", "ZUIVERE ZIJDE")
)  # fmt: skip
HUNDRED = {
    "en": ("100% {}", "100 % {}", "{} 100%", "100 PER CENT {}", "100 percent {}", "%100 {}"),
    "fr": ("100% {}", "{} 100%", "100 % {}"),
    "it": ("100% {}", "{} 100%", "{} : 100 %"),
    "de": ("100% {}", "100 % {}"),
    "es": ("100% {}", "{} 100%"),
    "nl": ("100% {}", "100 % {}"),
    "ja": ("{} 100%", "{}100%", "{} １００％"),
}
BOTH = (
    "silk",
    "wool",
    "cotton",
    "linen",
    "acrylic",
    "cashmere",
)  # different words in both languages

COUNTRIES: Mapping[str, tuple[str, ...]] = {
    "italy": ("ITALY",), "france": ("FRANCE",), "england": ("ENGLAND",), "scotland": ("SCOTLAND",),
    "great-britain": ("GREAT BRITAIN", "GT. BRITAIN"), "ireland": ("IRELAND",),
    "germany": ("GERMANY",), "west-germany": ("WEST GERMANY", "WESTERN GERMANY", "W. GERMANY"),
    "east-germany": ("GDR", "G.D.R.", "GERMAN DEMOCRATIC REPUBLIC"), "switzerland": ("SWITZERLAND",),
    "austria": ("AUSTRIA",), "belgium": ("BELGIUM",), "netherlands": ("HOLLAND",),
    "spain": ("SPAIN",), "portugal": ("PORTUGAL",), "czechoslovakia": ("CZECHOSLOVAKIA",),
    "czech-republic": ("CZECH REPUBLIC",), "hungary": ("HUNGARY",), "ussr": ("U.S.S.R.", "USSR"),
    "yugoslavia": ("YUGOSLAVIA",), "japan": ("JAPAN",), "occupied-japan": ("OCCUPIED JAPAN",),
    "hong-kong": ("HONG KONG",), "british-hong-kong": ("BRITISH HONG KONG", "BRITISH CROWN COLONY OF HONG KONG"),
    "china": ("CHINA",), "peoples-republic-of-china": ("PEOPLE'S REPUBLIC OF CHINA", "P.R. CHINA", "THE PEOPLE’S REPUBLIC OF CHINA"),
    "prc-letters": ("PRC", "P.R.C."), "taiwan": ("TAIWAN", "TAIWAN R.O.C."), "formosa": ("FORMOSA",),
    "korea": ("KOREA",), "india": ("INDIA",), "british-india": ("BRITISH INDIA",),
    "pakistan": ("PAKISTAN",), "bangladesh": ("BANGLADESH",), "thailand": ("THAILAND",),
    "philippines": ("PHILIPPINES",), "ceylon": ("CEYLON",), "sri-lanka": ("SRI LANKA",),
    "nepal": ("NEPAL",), "turkey": ("TURKEY",), "usa": ("U.S.A.", "USA", "THE U.S.A."),
    "canada": ("CANADA",), "mexico": ("MEXICO",), "germany-zone": ("GERMANY U.S. ZONE",),
    "iran": ("IRAN",), "myanmar": ("MYANMAR",), "irish-free-state": ("IRISH FREE STATE",),
    "foreign": ("FOREIGN",), "other": ("POLAND", "ROMANIA"),
}  # fmt: skip
# Words that ``data/labels.csv`` is composed without, so that it stays as it is when one is put in
RARE_FIBRES: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "en": {"recycled-polyester": ("RECYCLED POLYESTER", "recycled polyester fibre")},
    "fr": {"recycled-polyester": ("POLYESTER RECYCLÉ",)},
    "it": {"recycled-polyester": ("POLIESTERE RICICLATO",)},
    "de": {"recycled-polyester": ("recyceltes Polyester",)},
}
RARE_ORIGINS: tuple[tuple[str, str], ...] = (
    ("MADE IN U.A.R.", "united-arab-republic"), ("UNITED ARAB REPUBLIC", "united-arab-republic"),
    ("EMPIRE MADE", "empire-made"), ("BUNDESREPUBLIK DEUTSCHLAND", "federal-republic"),
    ("Hergestellt in der Bundesrepublik Deutschland", "federal-republic"),
    ("MADE IN MACAU", "macau"), ("Made in Macao", "macau"), ("MADE IN EU", "european-union"),
    ("MADE IN THE EUROPEAN UNION", "european-union"), ("MADE IN E.E.C.", "eec"), ("Made in EEC", "eec"),
)  # fmt: skip
RARE_TAX_NUMBERS = (
    ("IT 00000000000", ()), ("P.IVA IT00000000000", (("vat-number", ""),)),
    ("VAT No. IT00000000000", (("vat-number", ""),)),
)  # fmt: skip
# words of one country's law, or of its trade
HOMES = {
    "empire-made": ("europe",), "prefixed": ("europe",),
    "usa": ("us",), "foreign": ("europe",), "prc-letters": ("canada", "europe", "elsewhere"),
    "acetate-rayon": ("us", "canada"), "pure-dye-silk": ("us",), "reprocessed-wool": ("us",), "reused-wool": ("us",),
}  # fmt: skip
OPENINGS = ("MADE IN {}", "MADE IN {}", "Made in {}", "{}", "PRODUCT OF {}", "Produced in {}")
ABROAD: Mapping[str, tuple[tuple[str, str], ...]] = {
    "fr": (("FABRIQUÉ EN FRANCE", "france"), ("Fabriqué en Italie", "italy"),
           ("FABRIQUÉ AU CANADA", "canada"), ("Fait en Suisse", "switzerland"),
           ("FABRIQUÉ EN CHINE", "china"), ("Fabriqué au Japon", "japan"),
           ("FABRIQUÉ EN TCHÉCOSLOVAQUIE", "czechoslovakia"), ("FABRIQUÉ EN INDE", "india")),
    "it": (("PRODOTTO IN ITALIA", "italy"), ("Fatto in Italia", "italy")),
    "de": (("Hergestellt in Österreich", "austria"), ("HERGESTELLT IN DEUTSCHLAND", "germany"),
           ("Hergestellt in der Schweiz", "switzerland"), ("Hergestellt in Italien", "italy")),
    "es": (("HECHO EN ESPAÑA", "spain"), ("Fabricado en España", "spain"), ("HECHO EN MÉXICO", "mexico")),
    "nl": (("GEMAAKT IN NEDERLAND", "netherlands"), ("Vervaardigd in België", "belgium")),
    "ja": (("日本製", "japan"), ("中国製", "china"), ("イタリア製", "italy")),
}  # fmt: skip
WORKED = ("PRINTED IN {}", "HAND PRINTED IN {}", "Hemmed in {}", "WOVEN IN {}")

# no rule dates these words: they may stand on a label of any year
CLAIMS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "en": (
        ("HAND ROLLED", "hand-rolled"), ("Hand-Rolled Hem", "hand-rolled"), ("HAND ROLLED EDGES", "hand-rolled"),
        ("HAND PRINTED", "hand-printed"), ("HAND SCREENED", "hand-printed"), ("Hand Blocked", "hand-printed"),
        ("COLOUR FAST", "colour-fast"), ("FAST COLORS", "colour-fast"), ("Guaranteed Fast Colours", "colour-fast"),
        ("COLORFAST", "colour-fast"), ("WASHABLE", "washable"), ("HAND WASHABLE", "washable"),
        ("ONE SIZE", "size"), ("TRADE MARK", "trade-mark-words"),
    ),
    "fr": (("ROULOTTÉ MAIN", "hand-rolled"), ("Roulotté à la main", "hand-rolled"), ("IMPRIMÉ À LA MAIN", "hand-printed"),
           ("GRAND TEINT", "colour-fast"), ("LAVABLE", "washable"), ("TAILLE UNIQUE", "size"),
           ("DÉPOSÉ", "depose"), ("Modèle déposé", "depose"), ("MARQUE DÉPOSÉE", "trade-mark-words")),
    "it": (("ORLO A MANO", "hand-rolled"), ("ORLATO A MANO", "hand-rolled"), ("STAMPATO A MANO", "hand-printed"),
           ("COLORI SOLIDI", "colour-fast"), ("TAGLIA UNICA", "size"), ("MARCHIO REGISTRATO", "trade-mark-words")),
    "de": (("Handrolliert", "hand-rolled"), ("Handdruck", "hand-printed"), ("Farbecht", "colour-fast"),
           ("Waschbar", "washable"), ("Einheitsgröße", "size"), ("Warenzeichen", "trade-mark-words")),
    "es": (("ESTAMPADO A MANO", "hand-printed"), ("TALLA ÚNICA", "size"), ("MARCA REGISTRADA", "trade-mark-words")),
    "nl": (("HANDGEROLD", "hand-rolled"), ("KLEURECHT", "colour-fast"), ("HANDBEDRUKT", "hand-printed")),
    "ja": (("手巻き", "hand-rolled"), ("フリーサイズ", "size"), ("登録商標", "trade-mark-words")),
}  # fmt: skip
CARE: Mapping[str, tuple[tuple[str, str], ...]] = {
    "en": (
        ("DRY CLEAN ONLY", "dry-clean-only"), ("DRY CLEAN", "dry-clean"), ("HAND WASH COLD", "hand-wash"),
        ("MACHINE WASH WARM", "machine-wash"), ("DO NOT BLEACH", "do-not-bleach"), ("COOL IRON", "iron"),
        ("LINE DRY", "line-dry"), ("DO NOT WRING", "do-not-wring"), ("TUMBLE DRY LOW", "tumble-dry"),
        ("DO NOT TUMBLE DRY", "do-not-tumble-dry"), ("WASH SEPARATELY", "wash-separately"),
        ("DO NOT WASH", "do-not-wash"), ("DO NOT IRON", "do-not-iron"), ("Warm Iron", "iron"),
    ),
    "fr": (("NETTOYAGE À SEC", "dry-clean"), ("Nettoyage à sec seulement", "dry-clean-only"),
           ("LAVER À LA MAIN", "hand-wash"), ("NE PAS BLANCHIR", "do-not-bleach"),
           ("NE PAS REPASSER", "do-not-iron"), ("NE PAS LAVER", "do-not-wash")),
    "it": (("LAVARE A SECCO", "dry-clean"), ("LAVARE A MANO", "hand-wash"), ("NON CANDEGGIARE", "do-not-bleach"),
           ("Lavare solo a secco", "dry-clean-only"), ("NON STIRARE", "do-not-iron")),
    "de": (("Handwäsche", "hand-wash"), ("Handwaesche", "hand-wash"), ("Nicht bleichen", "do-not-bleach"),
           ("Chemisch reinigen", "dry-clean"), ("Nur chemisch reinigen", "dry-clean-only"),
           ("Nicht bügeln", "do-not-iron")),
    "es": (("LAVAR A MANO", "hand-wash"), ("LIMPIAR EN SECO", "dry-clean"), ("NO PLANCHAR", "do-not-iron")),
    "nl": (("HANDWAS", "hand-wash"), ("STOMEN", "dry-clean"), ("NIET BLEKEN", "do-not-bleach"), ("NIET STRIJKEN", "do-not-iron")),
    "ja": (("手洗い", "hand-wash"), ("ドライクリーニング", "dry-clean"), ("アイロン不可", "do-not-iron")),
}  # fmt: skip
SIGNS = ("[wash 30]", "[tub 30]", "[triangle x]", "[iron .]", "[iron ..]", "[circle P]", "[circle F]",
         "[hand wash]", "[square]", "[do not bleach]", "[dry clean]")  # fmt: skip
SPECIAL_SIGNS = (
    ("[circle W]", "wet-clean"), ("[circle A]", "dry-clean-a"), ("[tub 5]", "tub-number"),
    ("[square with two bars]", "natural-drying"), ("[tub in green]", "colour-symbols"),
    ("[triangle struck out in red]", "colour-symbols"),
)  # fmt: skip
# the older Japanese signs are known by their words, and are no signs of the common system
JAPANESE_SIGNS = (("[桶の絵 手洗イ 30]", "japan-old"), ("[手洗イ 30] [エンソサラシ]", "japan-old"),
                  ("[桶 波線 横線]", "japan-iso"))  # fmt: skip

# mark, the market it belongs to ("" for any), and forms
PLAIN_MARKS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("reg-us-pat-off", "us", ("REG. U.S. PAT. OFF.", "Reg. U. S. Pat. Off.", "Trade Mark Reg. U.S. Pat. Off.", "REG'D U.S. PAT. OFF.")),
    ("reg-us-pat-tm-off", "us", ("REG. U.S. PAT. & TM. OFF.", "Reg. U.S. Pat. and T.M. Off.")),
    ("patent-pending", "", ("PAT. PEND.", "PATENT PENDING")),
    ("ges-gesch", "", ("Ges. gesch.", "ges.gesch.", "Gesetzlich geschützt")),
    ("drgm", "", ("D.R.G.M.", "DRGM")),
    ("drp", "", ("D.R.P.", "DRP")),
    ("dbgm", "", ("D.B.G.M.", "DBP")),
    ("sgdg", "europe", ("Breveté S.G.D.G.", "BREVETE SGDG")),
    ("exclusive-of", "us", ("EXCLUSIVE OF DECORATION", "Exclusive of ornamentation")),
    ("microfibre", "", ("MICROFIBRE", "microfiber")),
    ("utility-mark", "europe", ("CC41", "CC 41")),
    ("coupon", "europe", ("COUPONS", "2 COUPONS")),
    ("nra", "us", ("NRA MEMBER", "[blue eagle] WE DO OUR PART", "N.R.A.")),
    ("union-label", "us", ("UNION MADE", "[union label]")),
    ("pure-new-wool", "", ("[wool mark]",)),
    ("animal-origin-phrase", "europe", ("Contains non-textile parts of animal origin", "Contient des parties non textiles d'origine animale", "Contiene parti non tessili di origine animale")),
    ("super-wool", "us", ("SUPER 100'S", "SUPER 120'S")),
    ("qr-code", "", ("[QR code]",)),
    ("price-euro", "europe", ("€ 25", "35 €", "€ 49,90")),
    ("price-new-pence", "europe", ("75 new pence", "£4.99", "85np")),
    ("price-shillings", "europe", ("21/-", "12s 6d", "7s. 11d.")),
    ("postcode-uk", "europe", ("LONDON W99 9ZZ", "MANCHESTER M99 9ZZ", "LONDON EC9A 9ZZ")),
    ("district-london", "europe", ("LONDON W.1", "London, S.W.3", "LONDON E.C.2", "London N1")),
    ("postcode-canada", "canada", ("TORONTO, ONTARIO M9Z 9Z9", "MONTRÉAL H9Z 9Z9")),
    ("postcode-germany-4", "", ("8000 München", "D-8000 MÜNCHEN", "6000 Frankfurt")),
    ("postcode-germany-5", "", ("80999 München", "D-80999 MÜNCHEN")),
    ("postcode-france", "", ("69999 LYON", "F-75999 PARIS", "75999 Paris")),
    ("postcode-italy", "", ("22999 COMO", "I-20999 MILANO")),
    ("postcode-switzerland", "", ("CH-8999 ZÜRICH", "8999 Zürich")),
    ("phone-london-01", "europe", ("TEL. 01-000 0000", "Tel: 01-000-0000")),
    ("phone-london-071", "europe", ("TEL. 071-000 0000", "Tel: 081 000 0000")),
    ("phone-london-0171", "europe", ("TEL. 0171 000 0000", "Tel: 0181-000 0000")),
    ("phone-london-020", "europe", ("TEL. 020 7000 0000", "Tel: 020 8000 0000")),
    ("phone-toll-free", "us", ("1-800-555-0100", "CALL 1-800-555-0199")),
    ("phone-exchange-name", "us", ("Tel. MUrray Hill 0-0000", "TEL. LO 0-0000")),
    ("vat-number", "europe", ("P.IVA 00000000000", "VAT No. 000 0000 00", "TVA FR00000000000")),
)  # fmt: skip
US_PLACES = (("NEW YORK", "N.Y."), ("CHICAGO", "ILL."), ("BROOKLYN", "N.Y."), ("PHILADELPHIA", "PENNA."),
             ("LOS ANGELES", "CALIF."), ("BOSTON", "MASS."))  # fmt: skip
US_STATES = (("NEW YORK", "NY"), ("LOS ANGELES", "CA"), ("DALLAS", "TX"), ("CHICAGO", "IL"),
             ("PHILADELPHIA", "PA"))  # fmt: skip
NOTHING = ("EXCLUSIVE DESIGN", "Style 4512", "Art. 4512", "FOULARD", "36 x 36", "90 x 90 cm", "No. 7731",
           "SILKY FINISH", "Original", "Lot 12")  # fmt: skip
LANGUAGES = {
    "us": ("en", "en", "en", "en", "it", "fr"),
    "canada": ("en", "en", "fr"),
    "europe": ("en", "fr", "it", "de", "es", "nl"),
    "elsewhere": ("ja", "ja", "en", "es"),
}
JOINTS = ("\n", "\n", "\n", "\n", "\n", "  ", " - ", " • ", ", ", ".\n", " / ")
# cut words of which only one reading is left
CUT_OFF: tuple[tuple[str, Pair], ...] = (
    ("MADE IN ITAL", ("origin", "italy")),
    ("MADE IN JAP", ("origin", "japan")),
    ("FABRIQUÉ EN FRAN", ("origin", "france")),
    ("HANDROLL", ("hand-rolled", "")),
)
CUTS = ("[cut]", "...", "…", "[torn]", "[cut] ", "... ")


def compose(rng: np.random.Generator, number: int, *, rare: bool = False) -> list[Composed]:
    """Labels over all decades and markets in turn; ``rare``: with the rare words among them."""
    rules = load_priors().label
    decades = range(FIRST_DECADE, LAST_DECADE + 1, 10)
    found = []
    used: Counter[str] = Counter()
    for place in range(number):
        market = MARKETS[place % len(MARKETS)]
        decade = decades[place // len(MARKETS) % len(decades)]
        year = int(rng.integers(decade, min(decade + 10, LAST_YEAR + 1)))
        found.append(
            _Composer(rng, rules, used, market, year, rare=rare).label(
                bool(rng.random() < CUT_SHARE)
            )
        )
    return found + (written() if rare else [])


def written() -> list[Composed]:
    """Labels written out in full, for the marks and values that came later: the composed ones stay as they are."""
    return [
        Composed(text, market, year, tuple(sorted(marks))) for text, market, year, marks in WRITTEN
    ]


@cache
def bounds_by_mark() -> Mapping[str, list[LabelRule]]:
    """The rules that bound, by mark."""
    found = defaultdict(list)
    for rule in load_priors().label.rules:
        if rule.role == "bound":
            found[rule.mark].append(rule)
    return found


@cache
def ruled_origins() -> frozenset[str]:
    """Countries with a rule of their own."""
    return frozenset(rule.value for rule in load_priors().label.rules if rule.mark == "origin")


@cache
def bounding(mark: str, value: str, market: str) -> list[LabelRule]:
    """The rules that bound a mark in a market, or, where it has none there, anywhere."""
    bounds = bounds_by_mark().get(mark, [])
    of_mark = [r for r in bounds if r.value in ("", value)]
    if mark == "rn" and value == "fur":
        of_mark = [r for r in of_mark if r.value == "fur"]
    here = [r for r in of_mark if r.market in (ANY, market)]
    if mark == "origin":
        home = {"us": "usa", "canada": "canada"}.get(market)
        if not any(r.value == value for r in here) and value != home:
            here += [
                r for r in bounds if r.value == "foreign-country" and r.market in (ANY, market)
            ]
        return here
    return here or of_mark


class _Composer:
    """What one label is composed with."""

    def __init__(
        self,
        rng: np.random.Generator,
        rules: LabelRules,
        used: Counter[str],
        market: str,
        year: int,
        *,
        rare: bool,
    ) -> None:
        self.rng, self.rules, self.market, self.year = rng, rules, market, year
        self.used, self.rare = used, rare
        self.language = self.one(LANGUAGES[market])
        self.name = self.one(KATAKANA if self.language == "ja" else NAMES)

    # --- chance

    def one(self, choices: Sequence[T]) -> T:
        return choices[int(self.rng.integers(len(choices)))]

    def seldom(self, choices: Sequence[str]) -> str:
        """One of those that were taken least, so that all have their turn."""
        least = min(self.used[each] for each in choices)
        found = self.one([each for each in choices if self.used[each] == least])
        self.used[found] += 1
        return found

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def can(self, mark: str, value: str = "") -> bool:
        """Whether a mark is possible here and now, by the table; before it is usual, now and then."""
        if self.market not in HOMES.get(value, MARKETS):
            return False
        for rule in bounding(mark, value, self.market):
            lag = 0.0 if math.isnan(rule.stock_lag) else rule.stock_lag
            if self.year < rule.not_before or self.year > rule.until + lag:
                return False
            if (
                self.year < rule.usual
                and math.isnan(rule.not_before)
                and not self.chance(rule.before)
            ):
                return False
        return True

    def number(self, series: str) -> int | None:
        """A number that was given by now."""
        of = self.rules.series[series]
        if self.year < of.years[0]:
            return None
        last = float(np.interp(self.year, of.years, of.numbers))
        return int(self.rng.integers(int(of.numbers[0]), int(last) + 1))

    # --- the label

    def label(self, cut: bool) -> Composed:
        parts: list[Part | None] = [self.maker(cut)]
        parts += [self.fibre() if self.chance(0.75) else None]
        parts += [self.origin() if self.chance(0.6) else None]
        makers: list[Callable[[], Part | None]] = [
            self.claim, self.care, self.signs, self.registered, self.notice, self.copyright,
            self.address, self.plain, self.plain, self.plain, self.web, self.bars, self.patent,
            self.nothing, self.claim, self.worked,
        ]  # fmt: skip
        if self.rare:
            makers += [self.rare_origin, self.tax_number]
        wanted = int(self.rng.integers(1, 5))
        for at in self.rng.permutation(len(makers)):
            part = makers[int(at)]()
            if part is not None and wanted:
                parts.append(part)
                wanted -= 1
        kept = self.fitting([part for part in parts if part is not None], cut)
        head, rest = kept[:1], kept[1:]
        order = [rest[int(at)] for at in self.rng.permutation(len(rest))]
        kept = [*head, *order] if self.chance(0.8) or cut else [*order, *head]
        return self.cut(kept) if cut else self.written(kept, INTACT)

    def fitting(self, parts: Sequence[Part], cut: bool) -> list[Part]:
        """Without a second part that says of the same mark something else, and with what must be said."""
        kept: list[Part] = []
        taken: set[str] = set()
        for part in parts:
            groups = {_GROUP.get(mark, mark) for mark, _ in part.marks}
            absent = cut and any(
                mark == "copyright-no-year" or mark == "care-symbols" for mark, _ in part.marks
            )
            if not groups & taken and not absent and not _british_patent(part, kept):
                kept.append(part)
                taken |= groups
        shown = {pair for part in kept for pair in part.marks}
        if ("care-symbols", "symbols") in shown and "care" not in taken:
            if self.can("care-symbols", "symbols-alone") and self.chance(0.7):
                kept.append(Part("", (("care-symbols", "symbols-alone"),)))
            else:
                text, value = self.one(CARE["en" if self.language == "ja" else self.language])
                kept.append(Part(text, (("care", value),)))
        return kept

    def written(self, parts: Sequence[Part], state: str) -> Composed:
        style = self.one(STYLES)
        said = [
            part.text if part.fixed or not self.chance(0.9) else style(part.text)
            for part in parts
            if part.text
        ]
        text = said[0]
        for each in said[1:]:
            joint = self.one(JOINTS)
            # a second point would be the sign of a cut
            text += (joint.lstrip(".") if text.endswith(".") else joint) + each
        marks = tuple(sorted({pair for part in parts for pair in part.marks}))
        return Composed(text, self.market, self.year, marks, state)

    def cut(self, parts: list[Part]) -> Composed:
        """Cut through the maker's name at the beginning, a word at the end, or both."""
        sign = self.one(CUTS)
        left, right = self.one(((True, False), (False, True), (True, True)))
        behind = [each for each in CUT_OFF if self.can(*each[1]) and self.fits(each[1], parts)]
        right = right and bool(behind)
        if not right:
            seen = int(self.rng.integers(4, 7))
            parts = [Part(sign + self.name[-seen:]), *parts[1:]]
        elif left:
            parts = [Part(sign.strip() + " " + parts[0].text, parts[0].marks), *parts[1:]]
        if right:
            text, pair = self.one(behind)
            parts = [*parts, Part(text + sign.strip(), (pair,))]
        if self.chance(0.1):
            parts.insert(1, Part("[illegible]"))
        return self.written(parts, FRAGMENT)

    def fits(self, pair: Pair, parts: Sequence[Part]) -> bool:
        return all(mark != pair[0] for part in parts for mark, _ in part.marks)

    # --- the parts

    def maker(self, cut: bool) -> Part | None:
        if cut:
            return Part(self.name)
        if self.chance(0.45):
            form, value = self.one(FIRMS[self.language])
            if self.can("firm", value):
                return Part(form.format(self.name), (("firm", value),))
        if self.chance(0.15) and self.can("circle-r"):
            return Part(self.one(("{}®", "{} ®")).format(self.name), (("circle-r", ""),))
        if self.chance(0.15) and self.can("tm"):
            return Part(self.one(("{}™", "{} TM")).format(self.name), (("tm", ""),))
        return Part(self.one(("{}", "{}", "“{}”", "by {}")).format(self.name))

    def fibre(self) -> Part | None:
        language = self.language
        if self.chance(0.3) or not self.can("fibre-percent"):
            return self.named()
        if language == "ja" and not self.can("japanese-content"):
            return Part("絹", (("fibre", "silk"),))
        if self.market == "canada" and self.can("bilingual") and self.chance(0.8):
            return self.bilingual()
        known = FIBRES[language]
        if self.rare:
            known = {**known, **RARE_FIBRES.get(language, {})}
        able_values = [value for value in known if self.can("fibre", value)]
        several = int(self.one((1, 1, 1, 2, 2, 3)))
        values = ["silk"] if several == 1 and self.chance(0.5) else self.some(able_values, several)
        if values != ["silk"]:
            rare = self.seldom(able_values)
            values = [rare, *(value for value in values if value != rare)][:several]
        words = [self.one(known[value]) for value in values]
        if len(values) == 1:
            text = self.one(HUNDRED[language]).format(words[0])
        else:
            forms = ("{1} {0}%",) if language == "ja" else ("{0}% {1}", "{0} % {1}", "{1} {0}%")
            form = self.one(forms)
            shares = self.shares(len(values), comma=language in ("it", "fr", "de", "es"))
            between = self.one((" ", ", ", "\n"))
            text = between.join(
                form.format(share, word) for share, word in zip(shares, words, strict=True)
            )
        share = self.percent(values)
        if not self.can(*share):
            return self.named()
        marks = [*(("fibre", value) for value in values), share]
        if language == "ja":
            marks.append(("japanese-content", ""))
        return Part(text, tuple(marks))

    def named(self) -> Part:
        """A fibre without a percentage."""
        text, value = self.one(
            [each for each in PLAIN[self.language] if self.can("fibre", each[1])]
        )
        if text in WHOLE:
            return Part(text, (("fibre", value), ("whole-fibre", "")))
        return Part(text, (("fibre", value),))

    def percent(self, values: Sequence[str]) -> Pair:
        """Wool has an act of its own, and its percentage is a mark of its own."""
        wool = any(self.rules.names["fibre", value][1] == "wool" for value in values
                   if ("fibre", value) in self.rules.names)  # fmt: skip
        return ("wool-percent" if wool else "fibre-percent", "")

    def bilingual(self) -> Part:
        values = self.some(
            [value for value in BOTH if self.can("fibre", value)], int(self.one((1, 1, 2)))
        )
        form = self.one(("{0}% {2} / {1}", "{0}% {1} / {2}", "{1} / {2} {0}%", "{0} % {2} - {1}"))
        lines = [
            form.format(share, self.one(FIBRES["en"][value][:1]), self.one(FIBRES["fr"][value][:1]))
            for share, value in zip(self.shares(len(values)), values, strict=True)
        ]
        marks = [("fibre", value) for value in values]
        return Part("\n".join(lines), (*marks, self.percent(values), ("bilingual", "")))

    def some(self, choices: Sequence[str], number: int) -> list[str]:
        order = self.rng.permutation(len(choices))[:number]
        return [choices[int(at)] for at in order]

    def shares(self, number: int, *, comma: bool = False) -> list[str]:
        """Percentages that add up to 100."""
        if number == 2 and comma and self.chance(0.2):
            return ["52,5", "47,5"]
        places = sorted(int(at) for at in self.rng.permutation(np.arange(1, 20))[: number - 1])
        edges = [0, *places, 20]
        found = [5 * (b - a) for a, b in pairwise(edges)]
        return [str(share) for share in sorted(found, reverse=True)]

    def origin(self) -> Part | None:
        if self.language in ABROAD and self.chance(0.4) and self.market != "us":
            text, value = self.one(ABROAD[self.language])
            if not self.can("origin", value):
                return None
            if self.market == "canada" and self.chance(0.6):
                text += " / MADE IN " + COUNTRIES[value][0]
            return Part(text, (("origin", value),))
        able = [value for value in COUNTRIES if self.can("origin", value)]
        ruled = ruled_origins()
        dated = [value for value in able if value in ruled]
        if not able:
            return None
        value = self.seldom(dated) if dated and self.chance(0.5) else self.one(able)
        if "usa" in able and self.chance(0.3):
            value = "usa"
        country = self.one(COUNTRIES[value])
        form = "{}" if value == "foreign" or country.startswith("GERMANY U") else self.one(OPENINGS)
        marks: list[Pair] = [("origin", value)]
        text = form.format(country)
        if value == "usa" and self.can("imported-fabric") and self.chance(0.5):
            text, marks = text + " OF IMPORTED FABRIC", [*marks, ("imported-fabric", "")]
        return Part(text.replace("{}", country), tuple(marks))

    def rare_origin(self) -> Part | None:
        able = [each for each in RARE_ORIGINS if self.can("origin", each[1])]
        if not able:
            return None
        text, value = self.one(able)
        return Part(text, (("origin", value),))

    def tax_number(self) -> Part | None:
        """With the prefix of its country."""
        text, marks = self.one(RARE_TAX_NUMBERS)
        pair = ("vat-number", "prefixed")
        return Part(text, (*marks, pair)) if self.can(*pair) else None

    def worked(self) -> Part | None:
        """Made in one country and printed in another, or designed there, which says nothing."""
        if not self.can("origin", "italy") or not self.can("origin", "france"):
            return None
        made = Part("MADE IN FRANCE", (("origin", "france"),))
        if self.chance(0.4):
            form = self.one(("DESIGNED IN {}", "Styled in {}"))
            return made._replace(text=form.format("ITALY") + "\n" + made.text)
        text = self.one(WORKED).format("ITALY")
        both = f"{text}\n{made.text}" if self.chance(0.5) else f"{made.text}\n{text}"
        return Part(both, (*made.marks, ("worked-in", "italy")))

    def claim(self) -> Part | None:
        text, mark = self.one(CLAIMS[self.language])
        return Part(text, ((mark, ""),)) if self.can(mark) else None

    def care(self) -> Part | None:
        able = [each for each in CARE[self.language] if self.can("care", each[1])]
        if not able:
            return None
        chosen = [
            able[int(at)] for at in self.rng.permutation(len(able))[: int(self.one((1, 1, 2, 3)))]
        ]
        if self.market == "canada" and self.language == "en" and self.chance(0.3):
            text, value = self.one(CARE["fr"][:1])
            return Part(f"{text} / DRY CLEAN", (("care", value),))
        if any(value == "dry-clean-only" for _, value in chosen):
            chosen = [each for each in chosen if each[1] == "dry-clean-only"]
        values = {value for _, value in chosen}
        chosen = [each for each in chosen if f"do-not-{each[1]}" not in values]
        joint = self.one((" ", ", ", ". ", "\n"))
        return Part(
            joint.join(text for text, _ in chosen), tuple(("care", value) for _, value in chosen)
        )

    def signs(self) -> Part | None:
        if self.language == "ja":
            text, value = self.one(JAPANESE_SIGNS)
            return (
                Part(text, (("care-symbols", value),)) if self.can("care-symbols", value) else None
            )
        if not self.can("care-symbols", "symbols"):
            return None
        signs = self.some(SIGNS, int(self.rng.integers(2, 5)))
        marks: list[Pair] = [("care-symbols", "symbols")]
        text, value = self.one(SPECIAL_SIGNS)
        if self.chance(0.7) and self.can("care-symbols", value):
            signs[int(self.rng.integers(len(signs)))] = text
            marks.append(("care-symbols", value))
        return Part(" ".join(signs), tuple(marks))

    def registered(self) -> Part | None:
        """RN, WPL and CA numbers."""
        if self.market not in ("us", "canada"):
            return None
        if self.market == "canada" or self.chance(0.1):
            number = int(self.rng.integers(10000, 60000))
            if not self.can("ca-number"):
                return None
            form = self.one(("CA {}", "CA{}", "CA No. {}", "CA-{}", "CA: {}", "CA# {}"))
            part = Part(form.format(number), (("ca-number", str(number)),))
            given = self.number("rn") if self.chance(0.3) and self.can("rn") else None
            if given is None:
                return part
            return Part(f"RN {given}  {part.text}", (("rn", str(given)), *part.marks))
        series = "rn" if self.chance(0.4) else self.seldom(("wpl", "rn-fur"))
        found = self.number(series)
        if found is None or not self.can(*{"rn-fur": ("rn", "fur")}.get(series, (series, ""))):
            return None
        if series == "wpl":
            form = self.one(("WPL {}", "W.P.L. {}", "WPL No. {}", "WPL# {}", "WPL{}", "WPL {:05d}"))
            return Part(form.format(found), (("wpl", str(found)),))
        if series == "rn-fur":
            return Part(f"RN {found:05d}", (("rn", f"fur {found}"),))
        form = self.one(
            (
                "RN {}",
                "RN{}",
                "R.N. {}",
                "RN# {}",
                "RN #{}",
                "RN: {:,}",
                "RN No. {}",
                "RN-{}",
                "RN\n{}",
            )
        )
        return Part(form.format(found), (("rn", str(found)),))

    def notice(self) -> Part | None:
        number = self.number("registered-design")
        if self.market != "europe" or number is None or self.year > LAST_DESIGN:
            return None
        form = self.one(("REGD. DESIGN No. {}", "Registered Design {}", "Rd. No. {}"))
        return Part(form.format(number), (("registered-design", str(number)),))

    def patent(self) -> Part | None:
        series = self.one(("patent", "design-patent"))
        number = self.number(series)
        if self.market != "us" or number is None:
            return None
        forms = ("PAT. NO. {:,}", "U.S. Pat. {:,}", "Patent No. {}")
        if series == "design-patent":
            forms = ("DES. PAT. {:,}", "Design Pat. {}", "Des. Pat. No. {}")
        return Part(self.one(forms).format(number), ((series, str(number)),))

    def copyright(self) -> Part | None:
        if not self.can("copyright-no-year") or not self.can("copyright-year"):
            return None
        if self.chance(0.4):
            if self.chance(0.3):
                older = self.year - int(self.rng.integers(5, 40))
                text = self.one(("© {} SINCE {}", "© {} EST. {}")).format(self.name, older)
                return Part(text, (("copyright-no-year", ""),))
            text = self.one(("© {}", "© {}", "ALL RIGHTS RESERVED", "COPYRIGHT {}", "Copr. {}"))
            return Part(text.format(self.name), (("copyright-no-year", ""),))
        year = self.year - int(self.rng.integers(0, 12))
        text = self.one(
            ("© {1} {0}", "{0} © {1}", "© {0} {1}", "COPYRIGHT {1} {0}", "Copr. {1}", "©{1}",
             "© {1} {0} ALL RIGHTS RESERVED")
        )  # fmt: skip
        return Part(text.format(self.name, year), (("copyright-year", str(year)),))

    def address(self) -> Part | None:
        """American addresses, and those of Paris and Japan, whose numbers are values."""
        if self.market == "us":
            return self.american()
        if self.market == "elsewhere" and self.language == "ja":
            value = self.one(("three-digits", "seven-digits"))
            if not self.can("postcode-japan", value):
                return None
            text = "〒999-9999 東京都" if value == "seven-digits" else "〒999 大阪市"
            return Part(text, (("postcode-japan", value),))
        if self.language == "fr" and self.market == "europe" and self.can("district-paris"):
            number = int(self.rng.integers(2, 21))
            form = self.one(("Paris {}e", "PARIS ({}e)", "Paris {}ème"))
            return Part(form.format(number), (("district-paris", str(number)),))
        return None

    def american(self) -> Part | None:
        city, state = self.one(US_PLACES)
        letters = self.one(US_STATES)
        code, zone = int(self.rng.integers(10001, 99999)), int(self.rng.integers(1, 40))
        zipped: Pair = ("zip", str(code))
        kinds: list[tuple[str, tuple[Pair, ...], bool]] = [
            (f"{city} {zone}, {state}", (("postal-zone", str(zone)),), False),
            (f"{city}, {state} {code}", (zipped,), False),
            (f"{letters[0]}, {letters[1]} {code}", (zipped, ("state-two-letter", "")), True),
            (
                f"{letters[0]} {letters[1]} {code}-1234",
                (("zip4", ""), ("state-two-letter", "")),
                True,
            ),
        ]
        able = [kind for kind in kinds if all(self.can(*pair) for pair in kind[1])]
        return Part(*self.one(able)) if able else Part(f"{city}, {state}")

    def plain(self) -> Part | None:
        able = [
            (mark, form)
            for mark, market, forms in PLAIN_MARKS
            for form in forms
            if market in ("", self.market) and self.can(mark)
        ]
        if not able:
            return None
        mark = self.seldom(sorted({mark for mark, _ in able}))
        text = self.one([form for each, form in able if each == mark])
        return Part(text, ((mark, ""),))

    def web(self) -> Part | None:
        name = "example" if self.language == "ja" else self.name.lower()
        mark = self.one(("web-address", "email", "social-handle"))
        if not self.can(mark) or not self.can("web-address"):
            return None
        texts = {
            "web-address": f"www.{name}.example",
            "email": f"info@{name}.example",
            "social-handle": f"@{name}",
        }
        return Part(texts[mark], ((mark, ""),))

    def bars(self) -> Part | None:
        mark = self.one(("upc", "ean"))
        if not self.can(mark):
            return None
        # a first digit that is kept for use within one firm, so that the number is nobody's
        body = "2" + "".join(
            str(int(digit)) for digit in self.rng.integers(0, 10, 10 if mark == "upc" else 11)
        )
        digits = body + check_digit(body)
        spaced = {"upc": f"{digits[0]} {digits[1:6]} {digits[6:11]} {digits[11:]}",
                  "ean": f"{digits[0]} {digits[1:7]} {digits[7:]}"}[mark]  # fmt: skip
        return Part(self.one((digits, spaced, " ".join(digits))), ((mark, digits),))

    def nothing(self) -> Part | None:
        return Part(self.one(NOTHING))


# marks that are one statement: two parts of one group would be read together
_GROUP = {
    "tm": "notice",  # "TM" before "Reg." is one notice
   
    "worked-in": "origin", "imported-fabric": "origin", "copyright-no-year": "copyright",
    "copyright-year": "copyright", "reg-us-pat-off": "notice", "reg-us-pat-tm-off": "notice",
    "trade-mark-words": "notice", "depose": "notice", "patent": "patents", "design-patent": "patents",
    "patent-pending": "patents", "registered-design": "patents", "postal-zone": "address",
    "zip": "address", "zip4": "address", "postcode-uk": "address", "district-london": "address",
    "district-paris": "address", "postcode-canada": "address", "postcode-germany-4": "address",
    "postcode-germany-5": "address", "postcode-france": "address", "postcode-italy": "address",
    "postcode-switzerland": "address", "phone-london-01": "phone", "phone-london-071": "phone",
    "phone-london-0171": "phone", "phone-london-020": "phone", "wpl": "rn", "upc": "bars", "ean": "bars",
}  # fmt: skip


def _british_patent(part: Part, kept: Sequence[Part]) -> bool:
    """Whether a patent of no country comes beside a British origin, where it is read as a British one."""
    marks = {mark for each in (part, *kept) for mark, _ in each.marks}
    values = {value for each in (part, *kept) for mark, value in each.marks if mark == "origin"}
    british = values & {"england", "great-britain", "scotland"}
    own = any(each.text.upper().startswith("U.S.") for each in (part, *kept))
    return bool(british) and "patent" in marks and "reg-us-pat-off" not in marks and not own


def titled(text: str) -> str:
    """Each word with a capital and small letters."""
    return re.sub(
        r"[^\W\d_]+(?:['’][^\W\d_]+)*", lambda m: m[0][0].upper() + m[0][1:].lower(), text
    )


STYLES: tuple[Callable[[str], str], ...] = (
    str, str.upper, str.upper, str.lower, titled, titled,
)  # fmt: skip


def check_digit(body: str) -> str:
    """The last digit of a 12- or 13-digit article number (GS1 General Specifications, 7.9)."""
    total = sum(int(digit) * (1 if place % 2 else 3) for place, digit in enumerate(reversed(body)))
    return str(-total % 10)


def rows(labels: Sequence[Composed]) -> Iterator[list[str]]:
    yield ["id", "market", "year", "state", "text", "marks"]
    for number, label in enumerate(labels, 1):
        marks = json.dumps(label.marks, ensure_ascii=False)
        yield [f"T{number:03d}", label.market, str(label.year), label.state, label.text, marks]


def corpus() -> str:
    """The committed file: the same text in every run."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(
        rows([*compose(np.random.default_rng(SEED), ROWS), *written()])
    )
    return text.getvalue()


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(corpus(), encoding="utf-8")
