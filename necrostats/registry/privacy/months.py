"""Names of months, ordinal numbers and feasts in several languages, folded."""

from __future__ import annotations

ABBREVIATED = (
    "jan|feb|mar|apr|jun|jul|aug|sep|sept|oct|okt|nov|dec|dez|dic|ene|abr|avr|fevr|juin|juil|janv|mai|maj|giu|lug|"
    "mrz|mrt"
)
SPELT = (
    "january|february|march|april|june|july|august|september|october|november|december|januar|februar|marz|maerz|"
    "juni|"
    "juli|oktober|dezember|janvier|fevrier|mars|avril|juillet|aout|septembre|octobre|novembre|decembre|enero|febrero|"
    "marzo|abril|mayo|junio|julio|agosto|septiembre|octubre|noviembre|diciembre|gennaio|febbraio|aprile|maggio|"
    "giugno|"
    "luglio|settembre|ottobre|dicembre|januari|februari|maart|mei|augustus|december|fevereiro|marco|maio|setembro|"
    "outubro|novembro|dezembro|marts|juuni|augusti|"
    # Polish, Czech and Slovak, Croatian
    "stycznia|lutego|marca|kwietnia|maja|czerwca|lipca|sierpnia|wrzesnia|pazdziernika|listopada|grudnia|ledna|unora|"
    "brezna|dubna|kvetna|cervna|cervence|srpna|zari|rijna|prosince|sijecnja|veljace|ozujka|travnja|svibnja|lipnja|"
    # Turkish, Romanian, Hungarian, Finnish
    "ocak|subat|mart|nisan|mayis|haziran|temmuz|agustos|eylul|ekim|kasim|aralik|ianuarie|februarie|martie|aprilie|"
    "iunie|"
    "iulie|septembrie|octombrie|noiembrie|decembrie|marcius|aprilis|majus|junius|julius|augusztus|szeptember|"
    "tammikuuta|helmikuuta|maaliskuuta|huhtikuuta|toukokuuta|kesakuuta|heinakuuta|elokuuta|syyskuuta|lokakuuta|"
    "marraskuuta|joulukuuta|"
    # Russian, Greek
    "января|февраля|марта|апреля|мая|июня|июля|августа|сентября|октября|ноября|декабря|ιανουαριου|φεβρουαριου|"
    "μαρτιου|"
    "απριλιου|μαιου|ιουνιου|ιουλιου|αυγουστου|σεπτεμβριου|οκτωβριου|νοεμβριου|δεκεμβριου"
)
ORDINALS = (
    r"(?:twenty[ -]|thirty[ -])?(?:first|second|third|fourth|fifth|sixth|seventh|eighth|ninth)|tenth|eleventh|"
    r"twelfth|"
    r"(?:thir|four|fif|six|seven|eigh|nine)teenth|twentieth|thirtieth|"
    r"(?:\w{3,8}und(?:zwanzig|dreissig)st|zwanzigst|dreissigst|erst|zweit|dritt|viert|funft|sechst|siebt|siebent|"
    r"acht|neunt|"
    r"zehnt|elft|zwolft|\w{3,5}zehnt)e[nrs]?|premier|primero?|primo"
)
FEASTS = (
    r"christmas(?: day| eve)?(?! tree)|xmas|boxing day|easter|good friday|maundy|whit (?:sunday|monday)|pentecost|"
    r"new year'?s?(?: eve| day)?|hogmanay|thanksgiving|hallowe'?en|weihnacht\w*|heilig(?:er )?abend|silvester|"
    r"neujahr|ostern|"
    r"oster(?:sonntag|montag)|karfreitag|pfingst\w*|noel|paques|toussaint|navidad|nochebuena|nochevieja|semana santa|"
    r"natale|capodanno|pasqua|pasquetta|ferragosto|natal|wigilia|wielkanoc|vanoce|diwali|ramadan|eid al\W\w+|"
    r"hanukkah|"
    r"yom kippur|rosh hashana\w*|kerst(?:avond|dag)?|pasen|jul(?:afton|aften)"
)
