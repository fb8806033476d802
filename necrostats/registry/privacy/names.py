"""People in a text: titles, initials, words beside a staff role, relatives, and capitals that no list explains.

A surname in lower case cannot be told from a word: only those on the lists, with a surname's ending, after a title or
before a person's deed are found. One lower-case word that is all of a cell passes, as codes are written so.

Words that a person's deed, an address or a signature makes a name: "Brandelow rang", "mr brandelow", "done by KLM".

Initials without such a word cannot be told from abbreviations, and pass.

The commonest given names and surnames of many languages, folded; a list of names is never complete.

Names in scripts without capitals. No word of these scripts is on the lists but a few: a short text is suspected.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache

from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.privacy.vocabulary import DISEASES, EPONYMS, SURELY_EPONYMS, is_ordinary, sounds_ordinary
from necrostats.registry.text import fold

_DEED = re.compile(
    r"([A-Z][^\W\d_]{3,})(?:'s)? (?:family|list|pts|patients|notes|rang|phoned|called|asks?|asked|wants?|wanted|wishes|"
    r"wished|agrees?|agreed|aware|informed|updated|upset|requests?|requested|declines?|declined|refused|consents|"
    r"consented|attended|attending|scrubbed|assisting|assisted|says|said|thinks|would like|keen|anxious|on call|"
    r"operating|to (?:review|see|call|ring|phone|do|scope|confirm)|to be (?:phoned|called|rung|told|informed)|"
    r"informiert|verstandigt|angerufen|wunscht|aufgeklart|prevenu|appele|avvisat[oa]|informad[oa]|consenziente)\b"
)
_LOWER_DEED = re.compile(
    r"([a-z]{5,}) (?:rang|phoned|wants?|wanted|wishes|asks?|asked|says|said|keen|upset|tearful|declines?|declined|"
    r"refused|consented|agrees|agreed|requested)\b"
)
_ADDRESSED = re.compile(
    r"\bm[rs]\.? ((?!angio|cholangio|entero|uro|pancrea|spectro|contin|liver|scan|sequen)[a-z]{5,})"
)
_SPOKEN_TO = re.compile(
    r"([A-Z][^\W\d_]{3,}), ?(?:please|pls|can (?:you|u)|could you|thanks|bitte|danke|svp|merci|por favor|grazie)\b"
)
_SIGNED_BY = re.compile(
    r"\b(?i:done|performed|scoped|entered|typed|signed|inserted|placed|removed|consented|scrubbed|assisted|checked|"
    r"seen|reviewed|operated|taken|countersigned|initialled) (?i:by) ([A-Z]{2,3})(?![\w'])"
)
_INITIALS_ARE = re.compile(
    r"\b(?i:initials?|init|signed|sig|op|operator|by)\b(?: (?i:are|is))? ?[:=]? ?(?:[A-Z]\. ?){2,3}"
    r"|\b(?i:initials?)(?:\+?\w{0,20})\b[ :=]{1,3}[A-Z]{2,4}\d{0,4}\b"
)
_TEAMS = """
IR ITU ICU HPB GI GP MDT CNS SHO SPR ED AE OT PT SLT ENT HDU RMO FY ST ODP RN HCA UGI LGI SPN ANP CCU NOK DSN MTC PCP
MD PA ER OR SAU AMU MAU DCC CCO ONC URO TVN DN RD ACP CPN CTS GS GIM ICM MR CT US EUS GA LA IV NG NJ MRI RT ID UK EU
HB OP AM PM BMI TTO APC OTC DPT RTF NCD FNA FNB PEG
"""
TEAMS = frozenset(_TEAMS.split())
"""Abbreviations of teams, tests and instruments that stand where initials might."""


def names_by_deed(text: str) -> Iterator[str]:
    """Capitalised words of a folded text of which something is told that only a person does or has."""
    return (found[1] for found in _DEED.finditer(text))


def words_addressed(text: str) -> Iterator[str]:
    """Words after "mr" or "ms" in lower case, a lower-case word that begins with a deed, a word that is asked."""
    yield from (found[1] for found in _ADDRESSED.finditer(text))
    yield from (found[1] for each in (_LOWER_DEED, _SPOKEN_TO) if (found := each.match(text)))


def is_initialled(text: str) -> bool:
    """Whether a folded text says by whose initials something was done."""
    return any(found[1] not in TEAMS for found in _SIGNED_BY.finditer(text)) or bool(_INITIALS_ARE.search(text))


_COMMON_GIVEN = """
aaron abdul abdullah abigail achim adam adebayo adele adrian adriana aditya agata agnes agnieszka ahmad ahmed aidan
ailsa aino aisha aiko akira alan alasdair albert alberto aled alejandra alejandro aleksander aleksandra alessandra
alessandro alessia alex alexander alexandra alexei alexis alfonso alfred alfredo alfie alice alicia alison alistair
allison alojzy alvaro amanda amelia amina amir amit amy ana anastasiaa andreas andrei andrej andres andrew andrzej
aneta angela angelika angelo angus anil anita anja anjali ann anna anne annegret anneke annelies annette annie annika
anthony antje antoine anton antonella antonia antonio aoife archibald ariadne arjun arne arnold arthur arturo asha
ashley astrid audrey axel ayesha ayse balazs barbara barnaby barry bartosz bashir beata beate beatrice beatrix beatriz
bela ben benedikt benjamin berit bernadette bernard bernardo bernd bernhard bertha bertram betty beverley bhavna
birgit bjorn bogdan boris bozena brenda brendan brian brigitte bridget britta bronwen bruno burkhard camilla camille
carina carl carla carlo carlos carmen carol carole caroline carsten caterina catherine catriona cecilia cedric cemal
charles charlotte chiamaka chidi chinedu chloe christa christel christian christiane christina christine christophe
christopher chukwuemeka ciara cillian claire claudia claudio clemens clive colette colin concetta conor cornelia craig
cristian cristina cyril czeslaw dafydd damian daniel daniela danielle danuta darren dave david deborah debbie declan
deepa deepak deirdre denis denise dennis derek desmond detlef diana diane dieter dietmar dilip dimitri dimitrios dirk
dmitri dmitry dominic dominik donald donatella donna dorota dorothea dorothy doris douglas duncan dylan eamon ebony
eckhard edith edmund edna eduardo edward eero egon eileen eilidh eirik ekaterina elaine eleanor elena eleni elfriede
elias elizabeth elisabeth elisabetta elke ella ellen elodie elspeth elsie emeka emeline emil emilia emilie emilio
emily emine emma emmanuel enrico enrique erica erik erika eric ernesto esperanza esteban ester esther etienne eugen
eugenia eugenio eunice eva evelyn evgeny ewa fabian fabio fatima fatma federica federico felicity felix fenella
ferdinand ferenc fergus fernanda fernando filip filippo finlay fiona fiorella flavio florence florian folasade fotini
frances francesca francesco francis francisco francois francoise franz franziska fraser frederic frederick frederik
friedhelm friedrich fritz funmilayo gabor gabriel gabriela gabriele gaetano gareth gary gavin gemma genevieve geoff
geoffrey georg george georgina georgios gerald geraldine gerard gerd gerhard gerrit gertrud gertrude giacomo gianluca
gianni gilles gillian gino giorgio giovanna giovanni gisela giulia giuliano giuseppe gladys glenda glenn glenys gordon
graham grazyna gregory grigory grzegorz gudrun guido guillaume guillermo gulsen gunnar gunther gurpreet gustav gustavo
gwen gwendolyn gwyneth gyorgy gyula hakan halina hamid hamish hanna hannah hannelore hans harald harold harpreet
harriet harry hartmut harvey hassan heather hector hedwig heidi heike heikki heiko heiner heinrich heinz helen helena
helene helga helmut hendrik henri henrik henriette henry herbert heribert hermann hideo hilary hilda hildegard hiroshi
holger howard hubert hugh hugo huseyin hussein hyacinth ian ibrahim ignacio igor ilona ilse imogen imran inge ingeborg
ingrid inga inmaculada irena irene irina irma irmgard isaac isabel isabella isabelle ishaan ismail istvan ivan iveta
iwona jaakko jacek jack jackie jacob jacqueline jacques jadwiga jaime jakob jakub james jamie jamila jane janet janice
janina janine janusz jaroslav jaroslaw jasmine jason javier jean jeanne jeffrey jenna jennifer jenny jens jeremy
jerome jerzy jesper jessica jiri joachim joan joanna joanne joao joaquin jochen joel joelle joergen johan johann
johanna johannes john jolanta jonas jonathan jordan jorg jorge jorgen josef josefina jose joseph josephine joshua
joyce juan juana judith judy juha julia julian juliana julie juliette julio jurgen jurij jutta kamal kamil kareem
karel karen karin karl karolina kaspar kasper katarina katarzyna kate katerina katharina katherine kathleen kathryn
katie katja katrin kavita kazimierz keiko keith kelechi kelvin kemal kenji kenneth kerstin kevin khadija khalid kieran
kirsten kirsty klaus kjell konrad konstantin kostas kristen kristian kristin kristina krystyna krzysztof kunal kwabena
kwame kyle lajos laksmi lakshmi lars laszlo laura lauren laurence laurent lawrence leandro leila leo leon leonard
leonardo leopold leroy leszek leslie lester lidia lieselotte liliana lillian linda lindsay linnea lisa lisbeth
liselotte lloyd lodewijk lorenzo loretta lorna lorraine lothar lotte louis louisa louise luca lucas lucia luciano
lucie lucinda lucy ludmila ludwig luigi luis luisa lukas lukasz lydia lynn lynne maciej maddalena madeleine magali
magdalena magnus mahmoud maire mairead maja makoto malcolm malgorzata malik mandy manfred manuel manuela marcel
marcello marcia marcin marco marcos marcus marek margaret margarethe margarita margit margot maria mariam marian
mariana marianne marie marija mario marion marija marisa marius marjorie marko markus marlene marta martha martin
martina martine mary maryam massimiliano mateusz mathias mathieu mathilde matilda matteo matthew matthias maud maureen
maurice mauricio maurizio mavis maxime maximilian mechthild megan mehmet melanie melissa mercy mervyn michael michal
michel michele michelle mieczyslaw miguel mihai mikael mikhail mikko milan mildred milica miloslav milos minh mireille
miriam mirko miroslav mohamed mohammad mohammed moira monica monika monique morag moritz moses muhammad muriel mustafa
myrtle nadia nadine nanette naomi natalia natalie natasha nathan nathalie neil neville ngozi niamh nicholas nicola
nicolas nicole nigel nikita nikolai nikolaos nikos nina nisha noah nobuko noel noelle noemi nora norbert noreen norman
nuala nuno octavia odette olaf ole oleg olga oliver olivia olivier oluwaseun omar orla osama oscar oskar osman oswald
otto owen pablo paloma pamela paolo parveen pascale patricia patricio patrick patrizia patryk paul paula paulette
pauline pavel pawel pedro pekka penelope per percy peter petra petros phil philip philippa philippe phillip phoebe
phyllis pierre pieter piotr polly prakash priscilla priya przemyslaw rachel radek radoslaw rafael rafal rahul raimund
rainer raj rajesh rajiv ralf ralph ramesh ramona raphael raquel rashid raul ravi raymond rebecca regina reginald
reinhard reinhold renata renate reuben rhiannon rhona rhys ricardo riccardo richard rita robert roberta roberto
roderick rodrigo roger rohan roland rolf ronald ronan rosa rosalind rosanna rosemarie rosemary rosie rowena roxana
ruben rudi rudolf rudolph rupert russell ruth ruud ryan ryszard saanvi sabine sabrina sadia sakura salim sally salma
salvatore samantha samir samuel sandor sandra sanjay sara sarah saskia satoshi savita sean sebastian sebastien serge
sergei sergey sergio seamus shabnam shane sharon shauna sheila shirley shona sian sibylle sidney siegfried sigrid
silke silvia silvio simon simona simone sinead siobhan slawomir sofia soledad solveig sonia sonja sophia sophie soren
srinivas stacey stanislav stanislaw stanley stefan stefania stefanie stefano steffen stella stephan stephane stephanie
stephen steve steven stewart stuart sunil sunita susan susana susanna susanne suzanne svein svenja sven svetlana
sybille sylvester sylvia sylvie szymon tadeusz takashi tamara tamas tanja tanya tarek tariq tatiana tatjana tatyana
teresa terence terry thea theodor theodore theresa therese thiago thierry thomas thorsten tiago tiffany tilman timo
timothy tobias tomas tomasz tommaso toni torben torsten tracey trevor tristan tshering udo ulla ulrich ulrike umar
umberto ursula usha uta uwe vaclav valentina valeria valerie vanessa vasco vasile vasilis vera vernon veronica
veronika veronique vicente vicky victor victoria vijay vikram viktor viktoria vincent vincenzo virginia virginie
vittorio vivian vivien vladimir volker wallace walter waltraud wanda wendy werner wiebke wieslaw wilfred wilfried
wilhelm wilhelmina willem william winifred winston witold wojciech wolfgang xavier yann yannick yasmin yetunde yiannis
yolanda yoshiko youssef yuki yusuf yvette yvonne zainab zbigniew zdenek zeynep zofia zoe zoltan zsuzsanna
"""
_SURNAMES = """
abubakar achterberg adeyemi ahmed aguilar akhtar almeida alvarez andersen anderson andersson arslan aydin bailey
bakker barbieri begum bennett bergmann bertrand bhatt bianchi blanchard bogdanov brouwer campbell carvalho castillo
castro celik chatterjee chaudhry chevalier choudhury chowdhury christensen clarke claes collins colombo cooper cruz
dabrowski dahl davies davis dekker demir desai diaz dijkstra dominguez doherty dubois dumitru dupont durand dvorak
edwards eriksson esposito evans farkas fernandes fernandez ferrari ferreira fischer fitzgerald fitzpatrick flores
fontaine friedmann gallagher garcia gauthier georgiou ghosh gimenez giordano girard goldberg gomez gonzalez goossens
griffiths guerrero gupta gustafsson gutierrez hakimi hansen hansson harris harrison heikkinen henderson hendriks
hernandez herrmann hoffmann hofmann holmes horvat horvath huber hughes hussain ibrahim ionescu iqbal ivanov ivanova
jacobs jacobsen janssen janssens jansen jensen jimenez johansen johansson johnson johnston jones jonsson jorgensen
joshi kaminski kapoor karlsson kaufmann kaya kaur kennedy khan kobayashi kohler kowalczyk kowalski kovac kovacs krause
krishnan kristensen kumar kuznetsov kuznetsova lambert larsen larsson lefebvre lefevre lehmann leroux lewandowski
lindberg lindqvist lombardi lopes lopez lozano lundgren macdonald mackenzie maclean mahmood makela malhotra mancini
mariani marinov marques martinez mccarthy mcdonald mehta meier meijer mendes mendoza mensah mercier mertens meyer
mitchell moller molnar moreau moretti morales morgan morris muller mueller munoz murray nagy nakamura navarro nemeth
neumann nguyen nielsen nieminen nilsson nkosi novak novotny nowak nowicki okafor okonkwo oliveira olsen olsson ortega
ortiz osei owusu ozturk papadakis papadopoulos patel pavlov pedersen peeters pereira perera perez persson petersen
petrov petrova petrovic phillips pinto popescu popov popova qureshi rahman ramirez ramos rasmussen reddy ribeiro ricci
richardson rinaldi rivera rizzo roberts robinson rodrigues rodriguez romano romero rossi rousseau ruiz russo sahin
sanchez santoro santos sato schafer schmid schmidt schmitt schneider scholz schroder schroeder schubert schulte
schultz schulz schulze schumacher sharma shevchenko silva simmons simpson singh smirnov smirnova smit smith sokolov
sorensen souza stein suarez sullivan suzuki svensson svoboda szabo szymanski takahashi tanaka teixeira thapa thompson
thomsen toth trivedi vargas vasquez vazquez verma vermeulen virtanen visser wagner wang watanabe watson weber williams
williamson wisniewski wojcik wouters wright yadav yamamoto yildirim yildiz yilmaz zhang zhao zhou zielinski zimmermann
lee kim cho obi eze rao ali ito shah ahmad lewis wilson walker taylor thomas
"""
_WORDS_TOO = """
angelo bela benedikt bruno carol celeste clemens dana donna ebony ella elisa ester franz gene german gloria heather
jack jean jordan judy leon leroy lucas marco marian maja mercy milan mandy moses noel norman olive owen paloma pascale
polly regina roman rosa rosie sally simone stella victor vera vital virginia wanda xavier conde cooper cruz davis
holmes collins lambert pinto ramos wagner stein castro flores kaya hans claire bianchi rossi maxime florence mina
leila percy rosie felicity walker cho
"""
GIVEN_NAMES = frozenset(_COMMON_GIVEN.split())
SURNAMES = frozenset(_SURNAMES.split())
_LOWER = (GIVEN_NAMES | SURNAMES) - frozenset(_WORDS_TOO.split())
_SHORTEST_LOWER = 4
# Ends that surnames have and words of the languages of the lists hardly ever.
_ENDINGS = re.compile(
    r"[a-z]{2,}(?:akis|opoulos|opoulou|oglu|wicz|czyk|owski|owska|ewski|ewska|inski|inska|escu|enko|ovic|evic|sson|"
    r"dottir|"
    r"shvili|iadis|ovsky|ovskaya|vych|chuk|quist|qvist|ainen|brecht|huizen)"
)
_LONG_ENOUGH = 7


def is_given_name(word: str) -> bool:
    """Whether a capitalised folded word is a given name and no ordinary word."""
    return word[0].isupper() and word.casefold() in GIVEN_NAMES and not is_ordinary(word)


def is_surname(word: str) -> bool:
    """Whether a capitalised folded word is one of the commonest surnames, and neither an eponym nor ordinary."""
    if not word[0].isupper() or (len(word) < _SHORTEST_LOWER and word.isupper()):
        return False
    lower = word.casefold()
    return lower in SURNAMES and lower not in EPONYMS and not is_ordinary(word)


def is_name_in_lower_case(word: str) -> bool:
    """Whether a folded word in lower case is a name that means nothing else, or ends as surnames alone do."""
    if len(word) < _SHORTEST_LOWER or not word.islower():
        return False
    found = word in _LOWER or (len(word) >= _LONG_ENOUGH and _ENDINGS.fullmatch(word) is not None)
    return found and not is_ordinary(word)


_CASELESS = (
    "\u0590-\u05ff\u0600-\u06ff\u0900-\u0dff\u0e00-\u0e7f\u10d0-\u10ff\u1100-\u11ff"
    "\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff"
)
_ANY = re.compile(f"[{_CASELESS}]")
_DIGIT = re.compile(r"\d")
_RUN = re.compile(f"[{_CASELESS}]+")
_IDEOGRAPH = re.compile("[\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff]")
_MOST_WORDS = 3
_MOST_IDEOGRAPHS = 6
# None, yes, no, and the commonest findings, in the languages of these scripts.
_WORDS = """
无 無 有 是 否 出血 感染 穿孔 发热 發熱 疼痛 死亡 引流 良好 坏死 壊死 固体
液体 胆石 酒精 なし あり はい いいえ 発熱 腹痛
없음 있음 출혈 감염 천공 발열 통증 사망 لا نعم نزيف عدوى ثقب حمى ألم وفاة אין יש דימום זיהום חום כאב
नहीं हाँ रक्तस्राव संक्रमण बुखार दर्द ไม่มี มี เลือดออก ติดเชื้อ ไข้
"""
_TITLES = "환자 선생님 씨 السيد السيدة الدكتور الدكتورة גברת פרופ श्री श्रीमती डॉ นาย นาง คุณ"
_KNOWN = frozenset(map(fold, _WORDS.split()))
_HONORIFIC = re.compile(
    "[\u3040-\u30ff\u4e00-\u9fff]{1,6}(?:様|さん|氏|殿|先生|医師|医生|醫生|医师|女士|大夫|护士|護士)"
    rf"|{'|'.join(map(fold, _TITLES.split()))}"
    r"|ד\"ר|\bמר\b|\bמרת\b"
)


def may_name_in_other_script(text: str) -> bool:
    """Whether a folded text in a script without capitals is as short as a name, or holds a title of that language."""
    if not _ANY.search(text):
        return False
    if _HONORIFIC.search(text):
        return True
    words = [word for word in _RUN.findall(text) if word not in _KNOWN]
    letters = sum(each.isalpha() for each in text)
    if not words or _DIGIT.search(text) or sum(map(len, _RUN.findall(text))) < letters:
        return False
    ideographs = len(_IDEOGRAPH.findall(text))
    if ideographs:
        return 1 < ideographs <= _MOST_IDEOGRAPHS
    return len(words) <= _MOST_WORDS


_TITLED = Clue(kind="name", rule="a title with a name", hard=True)
_WRITTEN = Clue(kind="name", rule="it is written like a person's name")
_BESIDE = Clue(kind="name", rule="a word beside a role or deed that may be a name")
_GIVEN = Clue(kind="name", rule="one of the commonest given names or surnames")
_SIGNED = Clue(kind="name", rule="initials of a person")
_CAPITAL = Clue(kind="name", rule="a word with a capital letter that may be a name")
_RELATIVE = Clue(kind="name", rule="a relative of the patient")
OPERATOR = Clue(kind="name", rule="an operator who is not a pseudonym")

_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?")
_SMALL_WORDS = "van der den de du la le da di del della von zu zum ter ten bin ibn al el o mac mc st y e und and"
_PARTICLES = frozenset(_SMALL_WORDS.split())
_TITLE = re.compile(
    r"\b(?:(?:(?<!\d )(?<!\d)fr(?=\.)|dr|prof|professor|doctor|mr|mrs|ms|miss|mx|sir|lady|dame|herr|hr|frau|mme|mlle|"
    r"monsieur|madame|sr|sra|"
    r"srta|senor|"
    r"senora|dott|dottore|dottoressa|dott\.ssa|sig|sig\.ra|signor|signora|dhr|mevr|dra|docteur|doktor|oberarzt|"
    r"chefarzt|"
    r"nurse|sister|matron|schwester|pfleger|consultant|registrar)\b\.?[ :]{1,2})+(?:(?:med|dr|prof)\b\.? )*"
    r"(?:[A-Za-z]\.? ){0,3}((?:[Vv]an |[Vv]on |[Dd]e |[Dd]er |[Dd]i |[Dd]el |O')*[^\W\d_][^\W\d_']+)",
    re.IGNORECASE,
)
_CLINICIANS = re.compile(r"(?:nurse|sister|matron|consultant|registrar|sr|ms|mr|hr|fr|sig|miss|lady)\b", re.IGNORECASE)
_BY = re.compile(
    r"\b(?:(?:seen|done|performed|reviewed|discussed|referred|spoke|spoken|informed|assisted|supervised|operated|"
    r"consented|signed|"
    r"assessed|reported|requested|handed over|handover|scoped|booked|arranged|examined|escorted|accompanied|"
    r"collected|treated|admitted|"
    r"brought|looked after|cared for|inserted|placed|removed|taken|written|entered|typed|advised|updated) (?:in |"
    r"by phone |over )?"
    r"(?:by|with|to)|d/?w|c/o|attn|spoke with|asked|told|rang|phoned|paged|bleeped|texted|emailed|per|named|"
    r"is called|durch|untersucher|par|por) ([^\W\d_][^\W\d_']{2,})",
    re.IGNORECASE,
)
_ROLE = re.compile(
    r"\b(?:operator|endoscopist|surgeon|consultant|anaesthetist|anesthetist|nurse|assistant|radiologist|registrar|"
    r"fellow|gp|trainee|"
    r"cons|reg|patient|pt|name|surname|nok|next of kin|contact|scrub|runner|author|entered by|typed by|operateur|op|"
    r"asst|typist|"
    r"untersucher|arzt|medecin|medico|signed|secretary|porter|interpreter|carer|neighbour|friend|"
    r"boss)[ ]?[:,=\-]?[ ]?((?-i:[A-Z])[^\W\d_']{2,})",
    re.IGNORECASE,
)
_KIN = re.compile(
    r"\b(?:wife|husband|daughter|mother|father|brother|grand(?:son|daughter|mother|father)|step(?:son|daughter|"
    r"mother|father)|mum|mom|dad|"
    r"niece|nephew|aunt|uncle|cousin|fiancee?|girlfriend|boyfriend|spouse|widow(?:er)?|next of kin|nok|"
    r"son (?:called|named|phoned|rang)|"
    r"(?:his|her|pt'?s|patient'?s|the) (?:son|sister|partner)|ehefrau|ehemann|tochter|sohn|mutter|vater|bruder|"
    r"schwiegersohn|epouse|"
    r"fille|mari|mere|pere|hija|hijo|esposa|marito|moglie|figli[ao])\b",
    re.IGNORECASE,
)
_INITIALS_FIRST = re.compile(r"(?<![\w.'])(?:[A-Z]\. ?|[A-Z] |[A-Z]{2} ){1,3}((?:O'|Mc|Mac)?[A-Z][a-z]{2,})")
_INITIALS_LAST = re.compile(
    r"(?<![\w'])((?:O'|Mc|"
    r"Mac)?[A-Z][a-z']{2,}(?:-[A-Z][a-z]+)?),? ?(?:[A-Z]\.(?: ?[A-Z]\.?)?|[A-Z]{1,2})(?![\w'\-/+.])"
)
_OF_TWO_NAMES = re.compile(
    r"\b(?:Ivor[ -]Lewis|Grey[ -]Turner|Mallory[ -]Weiss|Kaplan[ -]Meier|Monro[ -]Kellie|Mann[ -]Whitney|"
    r"Budd[ -]Chiari)\b"
)
_OTHER_SCRIPTS = re.compile(
    r"[\u4e00-\u9fff]{1,4}(?:医生|醫生|先生|女士|大夫|护士|護士)|\b\w{2,20}(?:ович|евич|овна|евна)\b"
    r"|\b[\u0410-\u042f][\u0430-\u044f]{2,} (?:[\u0410-\u042f]\. ?){1,2}"
)
_BREAK = re.compile(r"[.!?:;|>=\"\[\]*•+] ?\Z|\d[.)]?,? ?\Z")
_GERMAN_WORDS = "und mit nicht der die das kein keine keinen ohne bei nach im zur zum wurde ist eine einer links rechts"
_GERMAN = frozenset(_GERMAN_WORDS.split())
_LOWER_NAME = re.compile("[a-z]{4,}, ?[a-z]{3,}")
_NAME_AND_NUMBER = re.compile(r"([^\W\d_]{4,})[ ,:;]+[\d\W]+")
_LONGEST_LABEL = 5


def clues_in_names(text: str) -> Iterator[Clue]:
    """The clues of people in a folded text (case kept)."""
    text = _OF_TWO_NAMES.sub("", text)
    if _is_titled(text):
        yield _TITLED
    if _KIN.search(text):
        yield _RELATIVE
    if (
        any(_may_be_named(found[1]) for found in _BY.finditer(text))
        or any(not is_ordinary(found[1]) for found in _ROLE.finditer(text))
        or any(_is_unexplained(word) or is_surname(word) for word in names_by_deed(text))
        or any(not sounds_ordinary(word) and word.casefold() not in EPONYMS for word in words_addressed(text))
    ):
        yield _BESIDE
    if is_initialled(text):
        yield _SIGNED
    words = _WORD.findall(text)
    if any(is_given_name(word) or is_surname(word) or is_name_in_lower_case(word) for word in _bare(words)):
        yield _GIVEN
    if _is_written_like_a_name(text, words) or (
        not text.isascii() and (_OTHER_SCRIPTS.search(text) or may_name_in_other_script(text))
    ):
        yield _WRITTEN
    elif _has_stray_capital(text, words):
        yield _CAPITAL


def only_looks_so(rule: str) -> bool:
    """Whether the rule of a clue rests on the look of a word that no list explains, and on no title or name known."""
    return rule in (_WRITTEN.rule, _CAPITAL.rule, _BESIDE.rule, OPERATOR.rule)


def _bare(words: Sequence[str]) -> list[str]:
    return [word for each in words if each.casefold() not in DISEASES for word in (each, each.split("'")[0])]


def clue_of_person(text: str) -> Clue | None:
    """The clue of a text that is a whole name, such as "Surname, First" or one with a given name in it."""
    words = _WORD.findall(text)
    if any(is_given_name(word) for word in _bare(words)):
        return _GIVEN
    if "," in text and len(words) == 2 and all(map(_is_unexplained, words)):
        return _WRITTEN
    return None


def _is_titled(text: str) -> bool:
    return any(
        len(found[1]) > 1
        and not is_ordinary(found[1].split()[-1])
        and (found[1][0].isupper() or not _CLINICIANS.match(found[0]))
        for found in _TITLE.finditer(text)
    )


def _may_be_named(word: str) -> bool:
    if word in TEAMS or is_ordinary(word):
        return False
    return word[0].isupper() or (len(word) > 3 and not sounds_ordinary(word))


@lru_cache(maxsize=65_536)
def _is_unexplained(word: str) -> bool:
    """A capitalised word of four letters or more that neither the lists nor its ending explain."""
    lower = word.casefold()
    if len(word) < 4 or not word[0].isupper() or lower in EPONYMS or lower in DISEASES:
        return False
    if lower.endswith("'s") and lower[:-2] in SURELY_EPONYMS:
        return False
    if word.isupper():
        return len(word) > 4 and bool(re.search("[AEIOUY]", word)) and not sounds_ordinary(word)
    return not sounds_ordinary(word)


def _is_borne(word: str) -> bool:
    """Whether an eponym may be a patient's name as well."""
    return word.casefold() in EPONYMS and word.casefold() not in SURELY_EPONYMS


def forget_words() -> None:
    """Drop the words kept to save time."""
    _is_unexplained.cache_clear()


def _is_written_like_a_name(text: str, words: Sequence[str]) -> bool:
    beside = [found[1] for pattern in (_INITIALS_FIRST, _INITIALS_LAST) for found in pattern.finditer(text)]
    parts = [part for word in beside for part in word.split("-")]
    if any(_is_unexplained(part) or (len(part) == 3 and not is_ordinary(part)) for part in parts):
        return True
    if (numbered := _NAME_AND_NUMBER.fullmatch(text)) and numbered[1].istitle() and _is_unexplained(numbered[1]):
        return True
    if not 0 < len(words) <= _LONGEST_LABEL or any(character.isdigit() for character in text):
        return False
    own = [word for word in words if word.casefold() not in _PARTICLES or word[0].isupper()]
    if _LOWER_NAME.fullmatch(text):
        return not any(map(sounds_ordinary, words))
    if not own or not all(word[0].isupper() for word in own):
        return False
    if len(own) == 1:
        return _is_unexplained(own[0]) or (len(own[0]) > 3 and _is_borne(own[0]) and own[0].istitle())
    return any(_is_unexplained(word) for word in own) or (text.isupper() and _are_unknown_capitals(own))


def _are_unknown_capitals(words: Sequence[str]) -> bool:
    return len(words) > 1 and all(
        len(word) > 3 and not is_ordinary(word) and re.search("[AEIOUY]", word) for word in words
    )


def _has_stray_capital(text: str, words: Sequence[str]) -> bool:
    """Whether a capital inside a sentence, where English writes none, belongs to no known word."""
    if not any(map(_is_unexplained, words)) or text.isupper():
        return False
    if not _GERMAN.isdisjoint(word for word in words if word.islower()):
        return False
    return any(_is_unexplained(found[0]) and not _begins(text, found.start()) for found in _WORD.finditer(text))


def _begins(text: str, start: int) -> bool:
    return start == 0 or bool(_BREAK.search(text[max(0, start - 3) : start]))


_INITIALS = re.compile(r"(?:[A-Z]\.? ?){2,3}\Z")


def is_pseudonym(text: str) -> bool:
    """Whether a folded operator is "A", "op1", "consultant 2" or made of ordinary words; several may be joined."""
    return all(_is_one_pseudonym(part.strip()) for part in re.split(r"[;,/+&]| and | with ", text) if part.strip())


_LETTERED = re.compile(
    r"(?i:op|operator|operateur|operador|operatore|endoscopist|endo|arzt|untersucher)[ ._-]?(?:[A-Z]|\d{1,2})"
)


def _is_one_pseudonym(text: str) -> bool:
    if _LETTERED.fullmatch(text):
        return True
    words = _WORD.findall(text)
    if any(len(word) > 2 and not (is_ordinary(word) or word.casefold() in ("op", "ops", "anon")) for word in words):
        return False
    return not (_INITIALS.match(text) and not is_ordinary(text))
