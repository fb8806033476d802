"""Words that exports hold with a capital letter and that name nobody: clinical, general and administrative."""

from __future__ import annotations

import re

from necrostats.registry.codebook import TABLES
from necrostats.registry.text import ordinary_words

_CLINICAL = """
abdomen abdominal abscess access adherent adhesion admission albicans alcohol alive amount amp anaesthesia
anaesthetic anesthesia anchoring antibiotic antibiotics antral antrum aorta apache artery ascites aspirate aspirated
aspirating bag balloon basket batch beads bed bile biliary biopsy bleed bleeding bleeds blind blood bloody body
bowel brown brush bulb bulge bulging burst calcified calibre cannula cannulated cap capsule cardia catheter
cauterised cautery cavity cell cells chronic cirrhosis clip clips cloudy clot clots coagulation coffee coil coiled
cold colic colon colonic contrast contained cough culture cultures cyst cystic cysts daily dark debridement debris
dead deep deploy deployed desaturation diabetes diabetic dilated dilation dilator dirty discharge disconnected
distal dose double drain drained drains dried dry duct ductal duodenal duodenum dye edge electrolyte enteral entry
ethanol exchange exudate fat fatty feed feeding female fever fibrin fibrotic film fine firm fistula flap flow fluid
flush flushed foam food forceps foreign frank free fundus gallstone gallstones gas gastric gastro gastrostomy gauze
general glucose grasper gravity green groin guidewire gut haematoma haemorrhage haemostasis hard heart heavy heparin
hepatic hernia hernial hole hot hydrogen ileum ileus incision infected infection inflamed inflow insulin intact
intensive intubated iron irrigated ischaemia jejunal jejunum jelly jet kidney knife large lavage leak leaking left
leg lesser greater limb limbs lipase liquid litre litres liver loop loops lower lumen lumens lung lysis male mass
mature membrane mesh mesenteric metal microbiology migrated minor moderate morbid mouth mucosa multi multiple nasal
naso nausea necrosectomy necrosis necrotic needle nets net node normal nutrition obese ooze oozing omental omentum
open oral organ organised orifice oval oversewn oxygen pack pain pancreas pancreatic pancreatitis paracolic partial
patent pelvis pelvic percutaneous perforation peroxide pigtail pigtails plastic plug pocket polyp poor portal
posterior anterior pouch power previous probe prone supine proximal pseudo pseudoaneurysm pseudocyst pulled pulse
puncture pure pus pyloric pylorus quadrant raised rate rectum renal resected residual resolved retained retrieved
retroperitoneal retroperitoneum rim root rotatable rupture saline sac scan scope scopes sealed sedated sedation semi
sent sepsis septa septic severe sharp shock sinus site slough sloughy slow small smooth snare snares soft solid
sphincter spleen splenic stable steel stent stents step stitch stoma stomach stone stones stool straight strands
stricture sump suction suture swab swollen tail head neck tear thick thin tissue toxic tough trace tract trans
transfused transgastric micro radiography imaging scan scans transmural tube tubes tumour turbid ulcer ultrasound
umbilicus unwell upper ureter urine valve varices vascular vein venous vessel vessels viscous vomiting wall walled
washout wash water wet width wire wound yellow yeast trainee fellow fellows catheters collection collections
adrenaline epinephrine argon plasma thrombin tranexamic propofol midazolam fentanyl ketamine remifentanil
sevoflurane paracetamol aspirin clopidogrel warfarin apixaban rivaroxaban octreotide omeprazole pantoprazole
furosemide amikacin fluconazole candida enterococcus escherichia klebsiella pseudomonas staphylococcus streptococcus
enterobacter bacteroides coli aureus faecalis faecium krusei glabrata clostridium proteus serratia citrobacter
acinetobacter gram methylene indigo carmine lidocaine hyoscine glucagon idiopathic autoimmune hypertriglyceridaemia
biliaire alcoholic infarct infarction oedema edema effusion pleural ischemic colour color doppler chest pneumonia
covid vancomycin surgery surgical surgeon surgeons radiology radiologist anaesthetist anesthetist cardiac arrest
arrhythmia hypoxia hypotension tachycardia trauma sarcoidosis statin insufflation aspiration embolism emboli
embolised embolization embolisation electrocautery guidewires overtube endoscope gastroscope echoendoscope
duodenoscope sponge vacuum swirl
"""
_DEVICES_AND_SCORES = """
hounsfield atlanta clavien dindo billroth whipple forrest seldinger trendelenburg santorini wirsung oddi vater
treitz gerota morison charlson ranson glasgow balthazar marshall rockall blatchford child pugh meld agree asge roux
puestow frey beger crohn barrett mallory weiss zenker ogilvie mirizzi charcot reynolds murphy cullen turner fox
hartmann nissen heller dormia jackson pratt foley yankauer veress ringer hartmanns luer tuohy fogarty sengstaken
minnesota french charriere bormann braden bristol doppler fowler boas couinaud calot winslow toldt killian meckel
petersen
"""
# Eponyms whose bearers' names are too rare to be a patient's: they name a finding even as the whole of a cell.
_SURELY_EPONYMS = """
hounsfield clavien dindo billroth seldinger trendelenburg santorini wirsung oddi treitz gerota morison ranson
balthazar puestow couinaud calot winslow toldt meckel dieulafoy boerhaave courvoisier virchow zenker ogilvie mirizzi
charcot pfannenstiel mcburney kehr hashimoto crohn crohns pseudomonas dormia veress charriere bosniak hinchey rouviere
strasberg sengstaken yankauer fogarty tuohy luer ziehl neelsen karnofsky blatchford rockall kocher gram lugol bulau
tenckhoff laryngoscope raynaud sjogren kawasaki budd chiari kupffer lieberkuhn auerbach morgagni bochdalek hesselbach
cantlie glisson hartnup sudeck luschka rokitansky aschoff peutz jeghers rendu bonferroni likert wegener petersen
hodgkin cushing
"""
# A patient may bear these: only with 's are they the name of a disease, a sign or a place of the body.
_DISEASES = """
addison alzheimer barrett crohn cushing gilbert graves grave hartmann hodgkin huntington kelly killian meckel murphy
parkinson paget petersen ringer wilson zenker charcot cullen morison rovsing still winslow gerota
"""
_SHORTHAND = """
afib stemi nstemi cipro metro tazo mero klebs staph strep coags bluterbrechen burste rotierende todani dnacpr
dnar rcts ecog mrcp ercp vard dpds lams sems covid aki ards copd esbl mrsa pcr cpap bipap ecmo iabp cvvh
cvvhdf ortho haem haematology gastro gastroenterology hepatology micro neuro cardio cardiology physio
dietitian dietician pharmacy pharmacist radiol radiographer anaes anaesth palliative oncology oncologist
urology urologist nephrology vascular haematologist microbiologist cardiologist psych stoma interventional
referring tertiary secondary primary tue tues wed thu thur thurs fri sat sun mon daily nocte mane stat prn
sono echo labs obs bloods temps vitals sats hep asymptomatic symptomatic afebrile apyrexial pyrexial
septicaemia frail smoker drinker retired independent etoh roman bougie bougies staging string monitoring
screening protocol protocols guideline guidelines pathway request flank flanks antrum fluctuance crepitus
haemofiltration dialysis relook irrigation suctioned extraction extractor retrieval retriever rinsing rinse
scooping scoop dislodged capnography saturation desaturated pyrexia thrombosis thrombus thrombosed aneurysm
coeliac iliac hemicolectomy stricturing ascitic amylase tamponade ligation acetylcysteine albumin allopurinol
alteplase amiodarone amitriptyline amlodipine amoxicillin amphotericin ampicillin anidulafungin atorvastatin
azathioprine aztreonam bisoprolol bupivacaine caspofungin cefotaxime ceftazidime ceftriaxone cefuroxime
cefazolin cholestyramine ciprofloxacin clavulanate codeine cyclizine dabigatran dalteparin daptomycin
dexamethasone diazepam diclofenac digoxin dobutamine domperidone edoxaban enoxaparin ertapenem erythromycin
esomeprazole etomidate fondaparinux gabapentin gentamicin haloperidol hydrocortisone ibuprofen imipenem
indometacin infliximab isavuconazole lactulose lansoprazole levofloxacin linezolid loperamide lorazepam
melatonin mercaptopurine meropenem mesalazine metformin methadone metoclopramide metronidazole micafungin
morphine naloxone neostigmine nitrofurantoin noradrenaline norepinephrine nystatin ondansetron oxycodone
pancreatin pancrelipase pethidine piperacillin posaconazole prednisolone pregabalin prochlorperazine ramipril
ranitidine rocuronium ropivacaine salbutamol sertraline simvastatin spironolactone sucralfate sugammadex
suxamethonium tazobactam teicoplanin terlipressin elastase trypsin tigecycline tinzaparin tramadol valproate
vasopressin vecuronium voriconazole bacitracin streptokinase urokinase peroxide iodine povidone chlorhexidine
serratia morganella stenotrophomonas aspergillus enterobacterales anginosus milleri cloacae pneumoniae
tropicalis parapsilosis haemolyticus epidermidis viridans pancreas divisum annulare caudal cephalad cranial
lesser omentum retrogastric perisplenic perihepatic perirenal paraduodenal hilum hilar flexure uncinate
isthmus papilla ampulla ampullary jejunostomy gutter psoas diaphragm subphrenic subdiaphragmatic
"""
_GENERAL = """
the and but for with without from into onto over under after before during again still then there these this those
they that than when where which while who whose why how what his her him she patient patients pt was were has had
have been being will would can could should may might must did does done not none nil nothing never ever always
often some any all both each every other another more most much many few less least one two three four five six
seven eight nine ten first second third fourth last next new old good better best bad worse worst big long short
high low full empty half whole single twice once only also very too just about above across against along among
around because below beside between beyond down except inside outside near off through until upon within yes unknown
see seen saw look looks looked find found finding findings note noted notes plan plans planned repeat repeated
repeats review reviewed follow followed follow-up up out in on at by of to if no nor or so as an is it its we our
you your per via due day days week weeks month months year years hour hours minute minutes time times today tomorrow
yesterday now later early late soon since ago morning afternoon evening night overnight date end start started stop
stopped stops begin began continue continued complete completed incomplete clear cleared clearing remove removed
removal place placed placement put left right middle back front side top bottom use used uses using need needed
needs try tried able unable well fine okay stay stayed home ward wards room unit theatre theater clinic hospital
hospitals icu itu hdu ed team teams list list mdt doctor doctors dr nurse nurses staff consultant registrar sister
locum house officer trainee senior junior operator operators assistant anonymous pseudonym endoscopist endoscopy
endoscopic report reports reported form record recorded number code codes study case cases series group groups type
types grade grades class classes stage stages level levels score scores total sum mean count counts size sizes range
rate change changed changes same different similar likely unlikely possible possibly probable probably definite
definitely suspect suspected query question unclear uncertain uneventful uncomplicated complicated complication
complications event events adverse cause causes reason reasons technical technically difficult difficulty easy
easily simple hard work worked works working running run given give gave take taken took taking bring brought come
came goes went gone going get got keep kept make made send show showed shown ask asked call called contact contacted
discuss discussed spoke inform informed agree agreed decline declined refuse refused consent consented discharged
admitted transfer transferred referred refer arrange arranged book booked await awaiting awaited wait waiting await
pending increase increased decrease decreased reduce reduced improve improved improving resolve resolving persist
persisting persistent remain remained remains remaining require required requires treat treated treatment manage
managed management conservative conservatively support supportive attempt attempted attempts fail failed failure
success successful successfully minimal mild marked significant evidence sign signs symptom symptoms free further
extra additional rest partly mostly mainly slightly almost nearly approximately approx estimate estimated average
maximum minimum max min limited extensive massive tiny huge narrow wide large thick table sheet column data index
baseline initial final primary secondary main session sessions pass passes procedure procedures instrument
instruments device devices generic tool tools material content contents output input yield volume weight length
diameter black white red blue pink grey gray orange purple clean cloudy clarity colour front rear north south east
west spring summer autumn winter alpha beta gamma delta epsilon zeta omega sigma kappa lambda theta person people
man woman lady gentleman adult child children parent mother father wife husband son daughter brother sister family
relative relatives friend carer partner neighbour monday tuesday wednesday thursday friday saturday sunday january
february march april june july august september october november december please thanks thank caution warning
important urgent emergency elective routine postponed cancelled delayed abandoned aborted interval appointment
outpatient inpatient telephone phone email letter copy file page photo photos video image images picture pictures
ultrasonography percent percentage ratio value values units result results test tests lab labs sample samples
english british european american african asian medicine medical physician practitioner scientist student specialist
surgeon's patient's it's don't didn't can't won't bedside sitting standing walking eating drinking awake asleep
drowsy excel workbook microsoft office export exported sheet1 sheet2 sheet3 book1 title author subject keywords
comments comment category true false bled perf
"""
_GERMAN = """
aber abszess abgang abteilung alkohol allgemein alte alter anästhesie antibiotika arterie arzt aspiration auge
ausfluss ballon bauch befund befunde beginn beidseits bereich bericht bergung bis bitte blutung blut blutig blutungen
breite dann darm datum dauer der die das den dem des ein eine einem einen eiter eitrig eitriges ende endoskopie
endosonographie entfernt entfernung entlassung erfolg ergebnis erneut etwas exitus fieber fistel flüssig flüssigkeit
frau gabe gallenstein gallengang gefäß gering gewebe größe gut hämatom höhle in infekt intensiv kein keine komplett
komplikation komplikationen kontrolle körbchen kultur lage leber leicht links linke lokal lokalisation lumen magen
mann material medikament menge milz minuten mit mittel nach nadel narkose nekrose nekrosen nekrosektomie nekrotisch
netz nicht niere nur ohne offen operation pankreas pankreatitis patient patientin perforation pigtail probe punktion
rechts reichlich rest reste restnekrose schlinge schleimhaut sedierung septisch sitz sitzung sonde spülung spülen
spüllösung stent stents stufe tag tage teil teils teilweise tief transfusion trüb über unauffällig und unklar
untersuchung unter verband verlauf verschluss viel vom von vor wand wasser weich weiter wenig werkzeug wiederholung
woche wochen zeit zange zugang zum zur zustand zyste und auch bei ist war wird wurde zwei drei eins keine zustimmung
entlastung fasszange zyste fistel ohne neu neue neuer korb korbe alt alte nekrosehöhle sonographie verdacht ausschluss
rücksprache chirurgie innere anästhesist chirurg chirurgen hausarzt stabil wach fieberfrei entzündung pneumonie niere
nieren galle gallenblase leberwerte drainagen gastroskop absaugung saugen spül fettgewebe stücke brei nüchtern
kostaufbau intensivstation normalstation verlegung verlegt entlassen angehörige dislokation luft kompression kanüle
komplett fremdkörper fremdkörperzange deutlich besserung massen vorgehen koagel papille folgetag abschluss
pankreasschwanz pankreaskopf pankreaskorpus schwanz inhalt luftaustritt einblutung nachblutung vorbefund nächster
nächste weiterer stück anteil anteile sekret abtragung anlage wechsel lavage gastral duodenal bursa omentalis wegen
nahezu teilweise vollständig ausräumung unverändert gebessert schlechter besser morgen heute gestern
"""
_OTHER_LANGUAGES = """
geen bloeding koorts goed net schaar tang spoeling vocht dood pijn steen stenen necrose linkerzijde rechts links
patient ingen blodning feber bra nat slynge tang skylning vaske smerte sten nekros nekrose brak krwawienie goraczka
petla siatka kosz plukanie martwica dren drenaz stan dobry zadne krvaceni horecka klicka sitka kosik proplach nekroza
drenaz stav sangramento febre alca cesta rede lavagem necrose nenhuma nenhum bom liquido solido vacuna kanama ates
nekroz drenaj
"""
_ROMANCE = """
abces aiguille aspect aucun aucune avec ballonnet bilan bonne cavite chaud collecte controle corps dans depuis deux
douleur drainage droite eau echec entree estomac evacuation fievre fin gauche gaz grande gros hemorragie lavage
leger les liquide malade materiel mou nasale necrose necrosectomie necrotique pas patiente peu pince plus prothese
prothese pus reste reprise saignement sans sang seance sonde sous sur taille tissu trois une voie absceso aguja
antibiotico aspirado balon bien cavidad cesta cirugia coleccion con contenido derecha izquierda dolor drenaje
estable estomago fiebre hemorragia limpieza liquido lavado mucho necrosectomia necrosis paciente pared parcial poco
pinza protesis purulento sangrado sesion sin solido tejido ascesso cestello collezione cavita emorragia febbre
lavaggio liquido necrosi necrosectomia parete paziente pinza pulito sanguinamento sessione stomaco tessuto buono
nessuno nessuna prelievo
"""
_ENDINGS = re.compile(
    r"(?:itis|osis|oses|otic|ectomy|ectomies|ostomy|otomy|oscopy|oscopic|scopically|ography|graphic|aemia|emia|aemic|"
    r"emic|"
    r"uria|pathy|plasty|cillin|mycin|azole|penem|floxacin|parin|coccus|coccal|oma|omas|rrhage|rrhagic|rrhoea|algia|"
    r"plegia|"
    r"megaly|centesis|pancreatic|intestinal|vascular|thoracic|colic|gastric|duodenal|abdominal|peritoneal|lateral|"
    r"skop(?:ie|isch)|ektomie|blutung|ismus|amide|statin|micin|mab|"
    # German compounds are known by their last part.
    r"[a-z]{3}(?:zange|schlinge|netz|korb|korbchen|ballon|wechsel|drainage|kontrolle|entfernung|spulung|stent|zyste|"
    r"nekrose|"
    r"dislokation|katheter|sonde|nadel|gewebe|gefass|hohle|infekt|schmerz|fieber|"
    r"material|reste|aufnahme|therapie|verletzung|erguss|embolie|stauung|einlage|punktion))\Z"
)
_COMMON_ENDINGS = re.compile(
    r"(?:tion|tions|ment|ments|ness|ated|ised|ized|able|ible|ously|ally|ical|ious|ative|ance|ence|ency|ivity|ility|"
    r"ung|ungen|"
    r"keit|heit|schaft|lich|isch|ische|tis|cion|zione|mente|ante|ively|ular|eous)\Z"
)


def _codebook_words() -> set[str]:
    columns = [column for table in TABLES.values() for column in table.columns]
    texts = [text for column in columns for text in (column.name, column.meaning, *column.codes)]
    return set(re.findall(r"[a-z]{2,}", " ".join(texts).casefold()))


DISEASES = frozenset(f"{name}'s" for name in _DISEASES.split())
SURELY_EPONYMS = frozenset(_SURELY_EPONYMS.split())
EPONYMS = frozenset(_DEVICES_AND_SCORES.split()) | SURELY_EPONYMS
_FOLDED = str.maketrans({"ä": "a", "ö": "o", "ü": "u", "ß": "ss"})
_WORDS = (
    frozenset(word.translate(_FOLDED) for text in (_CLINICAL, _GENERAL, _GERMAN, _ROMANCE) for word in text.split())
    | _codebook_words()
)
# As they stand: English endings after such short words would explain surnames.
_UNINFLECTED = frozenset(f"{_SHORTHAND} {_OTHER_LANGUAGES}".split()) | ordinary_words()
_INFLECTIONS = re.compile(r"(?:'s|es|ed|ing|er|ly|s|d|n|e)\Z")


def is_ordinary(word: str) -> bool:
    """Whether a folded word is on the lists, or an inflection of one that is, or has a medical ending."""
    lower = word.casefold()
    if lower in _WORDS or lower in _UNINFLECTED or _ENDINGS.search(lower):
        return True
    return _INFLECTIONS.sub("", lower) in _WORDS


def sounds_ordinary(word: str) -> bool:
    """Whether a word is ordinary or at least ends as nouns and adjectives do and surnames seldom do."""
    return is_ordinary(word) or bool(len(word) > 6 and _COMMON_ENDINGS.search(word.casefold()))
