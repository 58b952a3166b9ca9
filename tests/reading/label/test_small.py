"""Small labels read by hand: each rule of form at its edge, the case that just is and the one that just is not.

The third column is what stays unread, the last what is noted as a fault. What was read is written as
mark=value <as printed> and how, where it was not as printed.
"""

from __future__ import annotations

import copy

import pytest

from scarfdate import Priors, Scarf, date_scarf, read_label
from scarfdate.conventions import MARKETS
from scarfdate.reading.label import Bounds

# fmt: off
LABELS = [
    ("RN 82 345", "rn=82345 <RN 82 345>", "", ""),
    ("RN 82 345 % silk", "fibre=silk <silk>", "RN 82 345 %", "no registration number 82 was ever given in that series; a percentage of 345 cannot be"),
    ("RN 82,345", "rn=82345 <RN 82,345>", "", ""),
    ("RN No. # 60 000", "rn=60000 <RN No. # 60 000>", "", ""),
    ("RN # 60000", "rn=60000 <RN # 60000>", "", ""),
    ("RN No. 60000", "rn=60000 <RN No. 60000>", "", ""),
    ("RN 1234567", "", "RN 1234567", "no registration number 1234567 was ever given in that series"),
    ("RN 082345", "rn=82345 <RN 082345>", "", ""),
    ("RN 123 4567", "rn=fur 123 <RN 123>", "4567", ""),
    ("RN 13669", "", "RN 13669", "no registration number 13669 was ever given in that series"),
    ("RN 13670", "rn=13670 <RN 13670>", "", ""),
    ("RN 82???", "", "RN 82???", ""),
    ("RN", "", "RN", ""),
    ("WPL 13669", "wpl=13669 <WPL 13669>", "", ""),
    ("WPL 13670", "", "WPL 13670", "no wool number 13670 was ever given"),
    ("WPL 1", "", "WPL 1", "no wool number 1 was ever given"),
    ("RN 00101", "rn=fur 101 <RN 00101>", "", ""),
    ("Patent 1234567", "", "Patent 1234567", ""),
    ("Pat. pend", "patent-pending <Pat. pend>", "", ""),
    ("Design Patent", "design-patent <Design Patent>", "", ""),
    ("53,5 % silk 46,5 % wool", "fibre=silk <silk>; wool-percent <46,5 %>; fibre=wool <wool>", "", ""),
    ("60 per cent silk 40 per cent wool", "fibre=silk <silk>; wool-percent <40 per cent>; fibre=wool <wool>", "", ""),
    ("60 por ciento seda", "fibre-percent <60 por ciento>; fibre=silk <seda>", "", "the percentages add up to 60, not to 100"),
    ("%60 silk %40 wool", "fibre=silk <silk>; wool-percent <40>; fibre=wool <wool>", "", ""),
    ("10016, %100 silk", "fibre-percent <100>; fibre=silk <silk>", "10016", ""),
    ("101% silk", "fibre=silk <silk>", "101%", "a percentage of 101 cannot be"),
    ("60% silk 41% wool", "fibre=silk <silk>; wool-percent <41%>; fibre=wool <wool>", "", ""),
    ("60% silk 42% wool", "fibre=silk <silk>; wool-percent <42%>; fibre=wool <wool>", "", "the percentages add up to 102, not to 100"),
    ("59% silk 40% wool", "fibre=silk <silk>; wool-percent <40%>; fibre=wool <wool>", "", ""),
    ("58% silk 40% wool", "fibre=silk <silk>; wool-percent <40%>; fibre=wool <wool>", "", "the percentages add up to 98, not to 100"),
    ("SILK 60% WOOL 40%", "fibre=silk <SILK>; fibre=wool <WOOL>; wool-percent <40%>", "", ""),
    ("SILK\n60%\nWOOL\n40%", "fibre=silk <SILK>; fibre=wool <WOOL>; wool-percent <40%>", "", ""),
    ("60%\nSILK\n40%\nWOOL", "fibre=silk <SILK>; wool-percent <40%>; fibre=wool <WOOL>", "", ""),
    ("60% fringe", "", "60%", "a percentage without a fibre was read"),
    ("100% silk soie", "fibre-percent <100%>; bilingual <100% silk soie>; fibre=silk <silk>; fibre=silk <soie>", "", ""),
    ("© MCMLXXVI Fancy", "copyright-year=1976 <© MCMLXXVI>", "Fancy", ""),
    ("© MDCCC Fancy", "copyright-year=1800 <© MDCCC>", "Fancy", ""),
    ("S1LK", "fibre=silk <S1LK> one letter off", "", ""),
    ("10O% silk", "fibre-percent <10O%>; fibre=silk <silk>", "", ""),
    ("W00L", "fibre=wool <W00L> one letter off", "", ""),
    ("COTTON l00%", "fibre=cotton <COTTON>; fibre-percent <l00%>", "", ""),
    ("C1OTH", "", "C1OTH", ""),
    ("5ILK", "fibre=silk <5ILK> one letter off", "", ""),
    ("51LK", "fibre=silk <51LK> one letter off", "", ""),
    ("MADE IN the old ITALY", "origin=italy <MADE IN the old ITALY>", "old", ""),
    ("MADE IN a b ITALY", "origin=italy <MADE IN a b ITALY>", "b", ""),
    ("MADE IN a b c ITALY", "origin=italy <ITALY>", "b", ""),
    ("Designed in Italy", "", "Designed in Italy", ""),
    ("hand rolled in Italy", "hand-rolled <hand rolled in>; origin=italy <hand rolled in Italy>", "", ""),
    ("Made in Italy hand rolled in France", "origin=italy <Made in Italy>; hand-rolled <hand rolled in>; worked-in=france <hand rolled in France>", "", ""),
    ("product of China silk twill", "origin=china <product of China>; fibre=silk <silk twill>", "", ""),
    ("CHICAGO, IL 60601", "state-two-letter <IL>; zip=60601 <IL 60601>", "", ""),
    ("...lyester", "fibre=polyester <lyester> cut off", "", ""),
    ("[wash 30]silk", "care-symbols=symbols <[wash 30]>; care-symbols=symbols-alone <[wash 30]>; fibre=silk <silk>", "", ""),
    ("© MDCCCXLIV", "copyright-year=1844 <© MDCCCXLIV>", "", ""),
    ("8001 Zürich", "postcode-switzerland <8001>", "", ""),
    ("80010 Zürich", "", "80010", ""),
    ("7500 Paris", "", "7500", ""),
    ("NEW YORK 17", "postal-zone=17 <NEW YORK 17>", "", ""),
    ("NEW YORK 17, N.Y.", "postal-zone=17 <NEW YORK 17>", "", ""),
    ("NEW YORK, NY 10016", "state-two-letter <NY>; zip=10016 <NY 10016>", "", ""),
    ("NEW YORK N.Y. 10016-1234", "zip4 <10016-1234>", "", ""),
    ("Paris 8e", "district-paris=8 <Paris 8e>", "", ""),
    ("Paris 8 e", "district-paris=8 <Paris 8 e>", "", ""),
    ("PARIS (VIIIe)", "district-paris=8 <PARIS (VIIIe>", "", ""),
    ("Paris XVI ème", "district-paris=16 <Paris XVI ème>", "", ""),
    ("Paris XIX", "district-paris=19 <Paris XIX>", "", ""),
    ("Paris XXIe", "", "XXIe", ""),
    ("Paris X", "", "X", ""),
    ("Paris 75008", "", "75008", ""),
    ("CA 12345", "ca-number=12345 <CA 12345>", "", ""),
    ("San Francisco CA 94105", "state-two-letter <CA>; zip=94105 <CA 94105>", "", ""),
    ("San Francisco, Cal. 94105", "zip=94105 <Cal. 94105>", "", ""),
    ("LONDON W1", "district-london <LONDON W1>", "", ""),
    ("LONDON W1A 1AA", "postcode-uk <W1A 1AA>", "", ""),
    ("LONDON 12", "", "12", ""),
    ("c 1953", "copyright-year=1953 <c 1953>", "", ""),
    ("c\n1953", "", "1953", ""),
    ("Copr. '52", "copyright-year=1952 <Copr. '52>", "", ""),
    ("Copr 52", "copyright-no-year <Copr>", "52", ""),
    ("1953 ©", "copyright-year=1953 <1953 ©>", "", ""),
    ("© Fancy Prints of the old Mill 1953", "copyright-year=1953 <© Fancy Prints of the old Mill 1953>", "Fancy | old", ""),
    ("Since 1888 © 1953", "copyright-year=1953 <© 1953>", "1888", ""),
    ("Founded 1888 1953", "", "1888 1953", ""),
    ("© 1799", "copyright-year=1799 <© 1799>", "", ""),
    ("© 2999", "copyright-no-year <©>", "2999", ""),
    ("WPL No. 1944 ©", "wpl=1944 <WPL No. 1944>; copyright-no-year <©>", "", ""),
    ("4006381333931", "ean=4006381333931 <4006381333931>", "", ""),
    ("4006381333932", "ean=4006381333932 <4006381333932>", "", "the check digit of the bar code does not fit: a digit is misread"),
    ("036000291452", "upc=036000291452 <036000291452>", "", ""),
    ("036000291453", "upc=036000291453 <036000291453>", "", "the check digit of the bar code does not fit: a digit is misread"),
    ("40063 81333 931", "ean=4006381333931 <40063 81333 931>", "", ""),
    ("€ 12", "price-euro <€ 12>", "", ""),
    ("12 €", "price-euro <12 €>", "", ""),
    ("£12.50", "price-new-pence <£12.50>", "", ""),
    ("12/6", "price-shillings <12/6>", "", ""),
    ("12/7", "", "12 | 7", ""),
    ("12/11", "price-shillings <12/11>", "", ""),
    ("12/-", "price-shillings <12/->", "", ""),
    ("6d", "price-shillings <6d>", "", ""),
    ("2s 6d", "price-shillings <2s 6d>", "", ""),
    ("12 np", "price-new-pence <12 np>", "", ""),
    ("D-80331 Munich", "postcode-germany-5 <D-80331>", "Munich", ""),
    ("I-20121", "postcode-italy <I-20121>", "", ""),
    ("D-803", "", "803", ""),
    ("〒100-0001", "postcode-japan=seven-digits <〒100-0001>", "", ""),
    ("〒100", "postcode-japan=three-digits <〒100>", "", ""),
    ("IT 12345678901", "vat-number=prefixed <IT 12345678901>", "", ""),
    ("M5V 2T6", "postcode-canada <M5V 2T6>", "", ""),
    ("SW1A 1AA", "postcode-uk <SW1A 1AA>", "", ""),
    ("0171 234 5678", "phone-london-0171 <0171 234 5678>", "", ""),
    ("01-234 5678", "phone-london-01 <01-234 5678>", "", ""),
    ("020 7234 5678", "phone-london-020 <020 7234 5678>", "", ""),
    ("020 1234 5678", "", "020 1234 5678", ""),
    ("1-800-555-1234", "phone-toll-free <1-800-555-1234>", "", ""),
    ("MU 2-1234", "phone-exchange-name <MU 2-1234>", "", ""),
    ("PL 7-1234", "phone-exchange-name <PL 7-1234>", "", ""),
    ("NW1 2-1234", "", "NW1 2-1234", ""),
    ("www.silk.example", "web-address <www.silk.example>", "", ""),
    ("silk.example", "web-address <silk.example>", "", ""),
    ("a@silk.example", "email <a@silk.example>", "", ""),
    ("@silk_it", "social-handle <@silk_it>", "", ""),
    ("silk.info", "fibre=silk <silk>", "info", ""),
    ("[wash 30]", "care-symbols=symbols <[wash 30]>; care-symbols=symbols-alone <[wash 30]>", "", ""),
    ("[wash 95]", "care-symbols=symbols <[wash 95]>; care-symbols=symbols-alone <[wash 95]>", "", ""),
    ("[wash 96]", "", "[wash 96]", ""),
    ("[tub 4]", "care-symbols=symbols <[tub 4]>; care-symbols=symbols-alone <[tub 4]>; care-symbols=tub-number <[tub 4]>", "", ""),
    ("[circle A]", "care-symbols=dry-clean-a <[circle A]>; care-symbols=symbols <[circle A]>; care-symbols=symbols-alone <[circle A]>", "", ""),
    ("[circle W]", "care-symbols=symbols <[circle W]>; care-symbols=symbols-alone <[circle W]>; care-symbols=wet-clean <[circle W]>", "", ""),
    ("[square bar]", "care-symbols=natural-drying <[square bar]>; care-symbols=symbols <[square bar]>; care-symbols=symbols-alone <[square bar]>", "", ""),
    ("[cut]", "", "", ""),
    ("[unreadable]", "", "", ""),
    ("[", "", "", "a square bracket is open to the end: what is in it is read as words of the label"),
    ("[]", "", "", ""),
    ("△▲", "care-symbols=symbols <△>; care-symbols=symbols-alone <△▲>", "", ""),
    ("[wash 30] wash by hand", "care-symbols=symbols <[wash 30]>; care=hand-wash <wash by hand>", "", ""),
    ("MADE IN FRAN...", "origin=france <MADE IN FRAN> cut off", "", ""),
    ("...ilk", "", "ilk", ""),
    ("...de in Japan", "origin=japan <de in Japan> cut off", "", ""),
    ("po?yester", "fibre=polyester <po?yester> letters guessed", "", ""),
    ("polyestre", "fibre=polyester <polyestre> one letter off", "", ""),
    ("POLYESTFR", "fibre=polyester <POLYESTFR> one letter off", "", ""),
    ("80331 Munich GmbH", "postcode-germany-5 <80331>; firm=gmbh <GmbH>", "Munich", ""),
    ("75001 Paris", "postcode-france <75001>", "", ""),
    ("80331 GmbH Stoff", "firm=gmbh <GmbH>", "80331 | Stoff", ""),
    ("Soie 75001 Lyon", "fibre=silk <Soie>; postcode-france <75001>", "", ""),
    ("© one two red three four five old 1953", "copyright-year=1953 <© one two red three four five old 1953>", "one two red three four five old", ""),
    ("© one two red three four five old new 1953", "copyright-no-year <©>", "one two red three four five old | 1953", ""),
    ("RN 60.000", "rn=60000 <RN 60.000>", "", ""),
    ("RN 60 000 silk", "rn=60000 <RN 60 000>; fibre=silk <silk>", "", ""),
    ("60 % silk 40 % wool RN 60 000", "fibre=silk <silk>; wool-percent <40 %>; fibre=wool <wool>; rn=60000 <RN 60 000>", "", ""),
    ("60 % of cotton silk 40 %", "fibre-percent <60 %>; fibre=cotton <cotton>; fibre=silk <silk>", "", ""),
    ("2 % wool", "wool-percent <2 %>; fibre=wool <wool>", "", "the percentages add up to 2, not to 100"),
    ("Made in Italy\n100 % silk\n60 % silk", "origin=italy <Made in Italy>; fibre-percent <100 %>; fibre=silk <silk>; fibre=silk <silk>", "", ""),
    ("[iron] [wash 30 and tub 4 circle a]", "care-symbols=symbols <[iron]>; care-symbols=symbols-alone <[iron] [wash 30 and tub 4 circle a]>; care-symbols=dry-clean-a <[wash 30 and tub 4 circle a]>; care-symbols=tub-number <[wash 30 and tub 4 circle a]>", "", ""),
    ("Made in Italy Hand rolled", "origin=italy <Made in Italy>; hand-rolled <Hand rolled>", "", ""),
    ("made in U.S.A. of imported fabric", "imported-fabric <made in U.S.A. of imported fabric>; origin=usa <made in U.S.A. of imported fabric>", "", ""),
    ("© 1953 © 1960", "copyright-year=1953 <© 1953>", "1960", ""),
    ("c 1953 c 1960", "copyright-year=1953 <c 1953>", "1960", ""),
    ("0181 234 5678", "phone-london-0171 <0181 234 5678>", "", ""),
    ("071 234 5678", "phone-london-071 <071 234 5678>", "", ""),
    ("081 234 5678", "phone-london-071 <081 234 5678>", "", ""),
    ("10016-1234", "", "10016-1234", ""),
    ("NY 10016-1234", "state-two-letter <NY>; zip4 <10016-1234>", "", ""),
    ("Xny 10016-1234", "", "Xny 10016-1234", ""),
    ("silk.co.uk", "web-address <silk.co.uk>", "", ""),
    ("http://www.silk.example", "web-address <http://www.silk.example>", "", ""),
    ("0O% silk", "fibre=silk <silk>", "0O", ""),
    ("4O% silk 6O% wool", "fibre=silk <silk>; wool-percent <6O%>; fibre=wool <wool>", "", ""),
    ("Name A.G. 8001 Z?rich", "firm=ag <A.G.>", "Name | 8001 Z?rich", ""),
    ("Seta 20121 Como", "fibre=silk <Seta>; postcode-italy <20121>", "", ""),
    ("Silk 20121 Como", "fibre=silk <Silk>; postcode-italy <20121>", "", ""),
    ("Seide 80331 Isarstadt", "fibre=silk <Seide>; postcode-germany-5 <80331>", "Isarstadt", ""),
    ("London S.W. 1", "district-london <London S.W. 1>", "", ""),
    ("London, W. 1", "district-london <London, W. 1>", "", ""),
    ("1 np", "price-new-pence <1 np>", "", ""),
    ("6 new pence", "price-new-pence <6 new pence>", "", ""),
    ("1234 €", "price-euro <1234 €>", "", ""),
    ("12/6d", "price-shillings <12/6d>", "", ""),
    ("1/2/12", "", "1 | 2 | 12", ""),
    ("D - 80331", "postcode-germany-5 <D - 80331>", "", ""),
    ("AB-80331", "", "AB-80331", ""),
    ("〒100-12", "postcode-japan=three-digits <〒100-12>", "", ""),
    ("IT12345678901", "vat-number=prefixed <IT12345678901>", "", ""),
    ("M5V2T6", "postcode-canada <M5V2T6>", "", ""),
    ("W1 1AA", "postcode-uk <W1 1AA>", "", ""),
    ("03600029145", "", "03600029145", ""),
    ("00012345678905", "", "00012345678905", ""),
    ("PURE SILK\n60%\nSILK\n40%\nWOOL", "fibre=silk <PURE SILK>; whole-fibre <PURE SILK>; fibre=silk <SILK>; wool-percent <40%>; fibre=wool <WOOL>", "", ""),
    ("60% fringe 40% lining", "", "60% | 40%", "a percentage without a fibre was read"),
    ("O1% wool", "wool-percent <O1%>; fibre=wool <wool>", "", "the percentages add up to 1, not to 100"),
    ("絹 100%", "fibre=silk <絹>; japanese-content <絹 100%>; fibre-percent <100%>", "", ""),
    ("綿 60% 絹 40%", "fibre=cotton <綿>; japanese-content <綿 60% 絹 40%>; fibre-percent <60%>; fibre=silk <絹>", "", ""),
    ("39/11 INC. P. TAX\nALL WOOL", "price-shillings <39/11>; purchase-tax <INC. P. TAX>; fibre=wool <ALL WOOL>; whole-fibre <ALL WOOL>", "", ""),
    ("R.C. SEINE 214 307 B", "trade-register=seine <R.C. SEINE>", "214 307 B", ""),
    ("WASH AND WEAR", "wash-and-wear <WASH AND WEAR>", "", ""),
    ("ACRYLIC\nWash as Wool", "fibre=acrylic <ACRYLIC>; care=hand-wash <Wash as Wool>", "", ""),
    ("Colton & Wolfe\nALL SILK", "fibre=silk <ALL SILK>; whole-fibre <ALL SILK>", "Colton | Wolfe", ""),
    ("Lana Mercer\n100% POLYESTER", "fibre-percent <100%>; fibre=polyester <POLYESTER>", "Lana Mercer", ""),
    ("Silk Road\n100% POLYESTER", "fibre-percent <100%>; fibre=polyester <POLYESTER>", "Silk", ""),
    ("PASHMINA\n100% VISCOSE", "fibre-percent <100%>; fibre=viscose <VISCOSE>", "PASHMINA", ""),
    ("CONTAINS NO WOOL\n100% ACRYLIC", "fibre-percent <100%>; fibre=acrylic <ACRYLIC>", "WOOL", ""),
    ("Not silk\n100% RAYON", "fibre-percent <100%>; fibre=rayon <RAYON>", "silk", ""),
    ("100% silk 100% cotton lining", "fibre-percent <100%>; fibre=silk <silk>; fibre=cotton <cotton>", "", ""),
    ("Cotton House\nPURE SILK", "fibre=silk <PURE SILK>; whole-fibre <PURE SILK>", "Cotton", ""),
    ("China Doll\nMADE IN ITALY", "origin=italy <MADE IN ITALY>", "China Doll", ""),
    ("China\nMADE IN ITALY", "origin=china <China>; origin=italy <MADE IN ITALY>", "", "more than one country is named: china, italy"),
    ("Holland House\nMADE IN JAPAN", "origin=japan <MADE IN JAPAN>", "Holland", ""),
    ("MADE IN GERMANY US-ZONE\nGermany", "origin=germany-zone <MADE IN GERMANY US-ZONE>; origin=germany <Germany>", "", ""),
    ("Georgia Vane\nLondon", "", "Georgia Vane", ""),
    ("Atlanta, Georgia", "", "", ""),
    ("Georgia 30301", "zip=30301 <Georgia 30301>", "", ""),
    ("Chicago, Ill.", "", "", ""),
    ("EKO-TEX", "", "EKO-TEX", ""),
    ("ART. 12/6", "", "12 | 6", ""),
    ("Size 9/11", "size <Size>", "9 | 11", ""),
    ("95% MODAL 5% CASHMERE", "fibre=modal <MODAL>; wool-percent <5%>; fibre=cashmere <CASHMERE>", "", ""),
    ("65% ACRYLIC 35% WOOL", "fibre=acrylic <ACRYLIC>; wool-percent <35%>; fibre=wool <WOOL>", "", ""),
    ("RN 6O214", "rn=60214 <RN 6O214> one letter off", "", ""),
    ("RN 1OO123", "rn=100123 <RN 1OO123> one letter off", "", ""),
    ("WPL 1OO1", "wpl=1001 <WPL 1OO1> one letter off", "", ""),
    ("100% LAMBSWOOL", "wool-percent <100%>; fibre=wool <LAMBSWOOL>", "", ""),
    ("100% wełna", "wool-percent <100%>; fibre=wool <wełna>", "", ""),
    ("%100 İPEK", "fibre-percent <100>; fibre=silk <İPEK>", "", ""),
    ("100% HEDVÁBÍ", "fibre-percent <100%>; fibre=silk <HEDVÁBÍ>", "", ""),
    ("100%真丝", "fibre-percent <100%>; fibre=silk <真丝>", "", ""),
    ("羊毛 100%", "fibre=wool <羊毛>; wool-percent <100%>", "", ""),
    ("견 100%", "fibre=silk <견>; fibre-percent <100%>", "", ""),
    ("MADE IN AUSTRIA-HUNGARY", "origin=austria-hungary <MADE IN AUSTRIA-HUNGARY>", "", ""),
    ("MADE IN HAWAII", "origin=hawaii <MADE IN HAWAII>", "", ""),
    ("Déanta in Éirinn", "origin=ireland <Déanta in Éirinn>", "", ""),
    ("〒103-0013", "postcode-japan=seven-digits <〒103-0013>", "", ""),
    ("執行標準 FZ/T 43014-2008", "standard=2008 <FZ/T 43014-2008>", "", ""),
    ("ART. 43014-2008", "", "43014-2008", ""),
    ("GB 18401-2010 B", "standard=2010 <GB 18401-2010>", "B", ""),
    ("ГОСТ 11039-64", "standard=1964 <ГОСТ 11039-64>", "", ""),
    ("ГОСТ Р 51554-99", "standard=1999 <ГОСТ Р 51554-99>", "", ""),
    ("TX 75207-3104", "state-two-letter <TX>; zip4 <75207-3104>", "", ""),
    ("NOM-004-SCFI-1994", "standard=1994 <NOM-004-SCFI-1994>", "", ""),
    ("39,90 €", "price-euro <39,90 €>", "", ""),
    ("€ 39,90", "price-euro <€ 39,90>", "", ""),
    ("39.90 EUR", "price-euro <39.90 EUR>", "", ""),
    ("EVP 9,85 MDN", "price=mdn <EVP 9,85 MDN>", "", ""),
    ("14,95 NF", "price=new-francs <14,95 NF>", "", ""),
    ("RM 3,95", "price=reichsmark <RM 3,95>", "", ""),
    ("RM 1204", "", "RM 1204", ""),
    ("LIRE 12.000", "price=lire <LIRE 12.000>", "", ""),
    ("50 % lire", "", "50 % lire", "a percentage without a fibre was read"),
    ("4 р. 50 к.", "price=roubles <4 р. 50 к>", "", ""),
    ("0171 4930142", "", "0171 4930142", ""),
    ("Union of Needletrades", "union-label=unite <Union of Needletrades>", "", ""),
    ("PURE NEW WOOL\nWOOLMARK", "fibre=pure-new-wool <PURE NEW WOOL>; pure-new-wool <WOOLMARK>", "", ""),
    ("Brit. Pat. 512345", "british-patent=512345 <Brit. Pat. 512345>", "", ""),
    ("Pat. No. 512345\nMade in England", "british-patent=512345 <Pat. No. 512345>; origin=england <Made in England>", "", ""),
    ("Pat. No. 512345\nMade in England\nReg. U.S. Pat. Off.", "patent=512345 <Pat. No. 512345>; origin=england <Made in England>; reg-us-pat-off <Reg. U.S. Pat. Off>", "", ""),
    ("+44 (0)20 7493 0142", "phone-london-020 <+44 (0)20 7493 0142>", "", ""),
    ("TEL (03)3661-0142", "phone-tokyo <(03)3661-0142>", "", ""),
    ("A-1010 Wien", "postcode-austria <A-1010>", "", ""),
    ("1010 Wien", "postcode-austria <1010>", "", ""),
    ("제조년월 2003.05", "made-year=2003 <제조년월 2003>", "05", ""),
    ("MFD. 2003", "made-year=2003 <MFD. 2003>", "", ""),
    ("MFD. UNDER CODE", "", "MFD. UNDER", ""),
    ("WASH CODE 7", "care-symbols=tub-number <WASH CODE>", "7", ""),
    ("W-4150 Krefeld", "postcode-germany-1990 <W-4150>; origin=germany <Krefeld>", "", ""),
    ("O-9010 Chemnitz", "postcode-germany-1990 <O-9010>", "Chemnitz", ""),
    ("Art. W-4150 blau", "", "W-4150 blau", ""),
    ("W-4150", "", "W-4150", ""),
    ("Tel. (1) 42.36.15.01", "phone-paris-8 <(1) 42.36.15.01>", "", ""),
    ("Tél. (1) 236.15.01", "phone-paris-7 <(1) 236.15.01>", "", ""),
    ("Tél. 01 42 36 15 01", "phone-france-10 <01 42 36 15 01>", "", ""),
    ("+33 (0)4 78 42 15 01", "phone-france-10 <+33 (0)4 78 42 15 01>", "", ""),
    ("01 42 36 15 01 9", "", "01 42 36 15 01 9", ""),
    ("Tel. 42.36.15.01", "", "42.36.15.01", ""),  # Danish and Norwegian numbers are written so, too
    ("Bangalore - 560 001", "postcode-india <Bangalore - 560 001>", "", ""),
    ("PIN CODE: 560001", "postcode-india <PIN CODE: 560001>", "", ""),
    ("Bombay 40", "", "Bombay 40", ""),
    ("safety pin 2", "", "safety pin 2", ""),
    ("EAC", "eac <EAC>", "", ""),
    ("ЕАС", "eac <ЕАС>", "", ""),
    ("[EAC]", "eac <[EAC]>", "", ""),
    ("MAY 12TH 1937", "printed-date=1937 <MAY 12TH 1937>", "", ""),
    ("le 12 mai\n1937", "printed-date=1937 <12 mai\n1937>", "", ""),
    ("1. März 1953", "printed-date=1953 <1. März 1953>", "", ""),
    ("June, 1953", "printed-date=1953 <June, 1953>", "", ""),
    ("VI.1929", "printed-date=1929 <VI.1929>", "", ""),
    ("XIII.1929", "", "XIII.1929", ""),
    ("V-1929", "", "V-1929", ""),
    ("TWIN SET 1950", "", "TWIN SET 1950", ""),
    ("12 set 1950", "printed-date=1950 <12 set 1950>", "", ""),
    ("May 1200", "", "May 1200", ""),
    ("© May 1953", "copyright-year=1953 <© May 1953>", "May", ""),
    ("Est. May 1890", "", "May 1890", ""),
]
# fmt: on


def said(text: str) -> tuple[str, str, str]:
    label = read_label(text)
    assert label.text == text
    marks = [
        f"{one.mark}{'=' * bool(one.value)}{one.value} <{text[one.start : one.end]}>"
        + (f" {one.how}" if one.how != "as printed" else "")
        for one in label.marks
    ]
    return "; ".join(marks), " | ".join(label.unread), "; ".join(label.flags)


def test_every_small_label_is_read_as_by_hand() -> None:
    wrong = [
        (text, found) for text, *expected in LABELS if (found := said(text)) != tuple(expected)
    ]
    assert not wrong


@pytest.mark.parametrize(
    ("text", "clues"),
    [
        ("PURE SILK MADE IN ITALY", {"fibre": "silk", "origin": "italy"}),
        ("100% silk Made in France Made in Italy", {"fibre": "silk"}),  # two countries are none
        ("60% silk 40% wool", {"fibre": "silk"}),  # the one that leads
        ("50% silk 50% wool", {"fibre": "blend"}),
        ("silk wool", {}),  # which leads is not said
        ("40% wool 60% silk", {"fibre": "silk"}),
        ("hello", {}),
    ],
)
def test_what_a_label_says_of_other_clues(text: str, clues: dict[str, str]) -> None:
    label = read_label(text)
    assert dict(label.clues) == clues
    assert label.clues_given() == {"label": "intact", **clues}
    noted = {"fibre": "cotton", "origin": None, "hem": "hand-rolled"}
    told = [f"label_text: {flag}" for flag in label.flags]
    if "fibre" in clues:
        told.append(f"fibre: the label says {clues['fibre']}, you noted cotton; your note counts")
    assert label.against(noted) == told
    assert label.against(clues) == [f"label_text: {flag}" for flag in label.flags]


def test_where_it_was_offered() -> None:
    """At home in the United States and Canada (a registration number), or in all; in none together: in either."""
    assert read_label("silk").markets == MARKETS and read_label("silk").market == ""
    assert read_label("RN 60000").markets == ("us", "canada")
    assert read_label("RN 60000", "uk").markets == ("europe",)
    apart = read_label("WPL 5000\n12/6")
    assert apart.flags == ("marks of different markets stand side by side",)
    assert apart.markets == ("us", "europe")


def test_its_lines_say_the_bounds_each_mark_and_what_is_left() -> None:
    lines = str(read_label("60% SILK 42% COTTON\nRN 13670\nFANCY LOOK", "us")).splitlines()
    assert lines == [
        "intact label: not before 1959, usual from 1960",
        f"  {'60%':<40}  percentages of fibres",
        "      every fibre with its percentage is the normal American form from 1960 on",
        f"  {'SILK':<40}  the fibre name silk",
        f"  {'COTTON':<40}  the fibre name cotton",
        f"  {'RN 13670':<40}  a registration number",
        "      given about 1959 (give or take 1 year): the piece is not older than its",
        "      number; numbers stay in use for decades, so it may be much younger",
        "  not read: FANCY LOOK",
        "  note: the percentages add up to 102, not to 100",
        "  offered in: us",
    ]
    cut, number, plain = map(
        str, (read_label("S1LK ..."), read_label("RN 60000"), read_label("ok"))
    )
    assert cut.startswith("cut label or fragment: nothing on it fixes an earliest or latest year\n")
    assert cut.endswith("the fibre name silk (cut off)")
    assert number.startswith("intact label: not before 1970 by its number\n")
    assert plain.startswith("intact label: nothing on it fixes an earliest or latest year\n")


def test_nothing_is_swallowed() -> None:
    """Each word is a mark, is not read, or is known and no mark."""
    for text, known in [
        ("Toronto 2, Ont.\nCRÊPE DE CHINE\nSTYLE 12", ("Toronto", "CRÊPE DE CHINE", "STYLE")),
        ("Silk Road\n100% POLYESTER", ("Road",)),
        ("Fancy Prints by the Mill\nSILK", ("Prints by the Mill",)),
        ("NEW YORK 17\nSILK", ()),
    ]:
        label = read_label(text)
        assert label.known == known
        told = " ".join(str(label).split())
        assert (f"known, and no mark: {', '.join(known)}" in told) == bool(known)
    assert copy.copy(read_label("Silk Road")).known == ("Road",)


def test_what_one_markets_rule_says_is_said_of_that_market() -> None:
    """ "By the act of 1940" stood under Russian and Italian wool, and spoke of no country."""
    told = " ".join(str(read_label("шерсть 100%")).split())
    assert "in the United States: wool content with its percentage, by the American act" in told
    alone = " ".join(str(read_label("100% WOOL", "us")).split())
    assert "in the United States" not in alone
    zone = str(read_label("MADE IN GERMANY US-ZONE"))
    assert zone.count("an occupation zone of Germany") == 1


def test_what_is_no_reason_is_not_named_as_one() -> None:
    """A firm form that no law dates, and a word that is misread."""
    for text in ("Fancy Inc.", "39/11 INC. P. TAX", "R.C. SEINE 214"):
        sentence = date_scarf(Scarf(label_text=text), as_of=2026).sentence
        assert "a firm form: inc" not in sentence and "fibre name silk" not in sentence
    nothing = date_scarf(Scarf(label_text="Quorvelle"), as_of=2026).sentence
    assert "the words on the label" not in nothing
    assert "Nippon" in date_scarf(Scarf(label_text="NIPPON"), as_of=2026).sentence


def test_much_that_is_unread_is_told_in_part_and_rules_not_at_all() -> None:
    label = read_label("Qwertz, asdfgh, yxcvbn, " * 20)
    lines = str(label).split("not read: ")[1].split()
    told = "not read: " + " ".join(lines)
    assert len(told) == 300 and f"not read: {', '.join(label.unread)}".startswith(told)
    assert "LabelRules" not in repr(label)
    with pytest.raises(TypeError):  # three years in a row are soon mixed up
        Bounds(1950.0, 1960.0, 1970.0)  # type: ignore[misc]


def test_its_frame_has_a_row_for_each_mark_and_rule_with_the_markets_it_holds_in() -> None:
    label = read_label("PURE SILK RN 13670")
    frame = label.to_frame().set_index("mark")
    alone = frame.loc["whole-fibre"]  # no rule is about it: one row of its own
    assert alone["text"] == "PURE SILK" and alone[["role", "fact"]].isna().all()
    number = frame.loc["rn"].set_index("fact").loc["us-rn-start-1959"]
    assert (number["text"], number["role"], number["market"]) == ("RN 13670", "bound", "us")
    assert number["not_before"] == 1959
    assert set(read_label("RN 13670", "us").to_frame()["market"]) == {
        "any"
    }  # all that it can be of
    assert label.facts() == () and label.facts("us") == ("us-rn-start-1959",)
    guards = label.facts("us", role="guard")
    assert "us-rn-never-expires" in guards and "us-rn-start-1959" not in guards


def test_a_view_underlines_what_bounds_apart_from_what_proves_nothing(priors: Priors) -> None:
    view = read_label("PURE SILK RN 13670", "us", priors=priors)._repr_html_()
    assert "double" in view and "speaks of years" in view
    assert "dashed" in view and "proves no year" in view
    assert "dotted" in view and "says nothing of years" in view
    assert "Proves no year." in view and "Given about 1959 (give or take 1 year)" in view
    assert "speaks of years" not in read_label("PURE SILK")._repr_html_()


@pytest.mark.parametrize(
    ("text", "origin"),
    [
        ("MADE IN OCCUPIED JAP...", "occupied-japan"), ("MADE IN WEST GER...", "west-germany"),
        ("MADE IN BRITISH HONG K...", "british-hong-kong"), ("MADE IN HONG K...", "hong-kong"),
        ("MADE IN UNITED ST[cut]", "usa"), ("MADE IN SRI L...", "sri-lanka"), ("MADE IN GREAT...", "great-britain"),
        ("MADE IN REPUBLIC OF CHI...", "republic-of-china"), ("MADE IN IRISH FREE ST...", "irish-free-state"),
        ("MADE IN REPUBLIC OF...", None),  # of China, of Korea, of Ireland
        ("MADE IN CHINA...", "china"), ("MADE IN JAPAN ...", "japan"),
    ],
)  # fmt: skip
def test_a_country_that_is_cut_within_its_name(text: str, origin: str | None) -> None:
    """ "Occupied Jap..." was once read as Japan, which loses the years of the occupation."""
    assert read_label(text).clues.get("origin") == origin
