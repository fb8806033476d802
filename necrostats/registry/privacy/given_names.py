"""The commonest given names and surnames of many languages, folded; a list of names is never complete."""

from __future__ import annotations

import re

from necrostats.registry.privacy.vocabulary import EPONYMS, is_ordinary

_GIVEN = """
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
GIVEN_NAMES = frozenset(_GIVEN.split())
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
