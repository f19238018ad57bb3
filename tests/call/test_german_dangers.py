"""Dangers told in German are heard, and what only sounds like one raises nothing.

The lists were extended from these lines, which flatters; the first twenty of each were written before.
"""

from __future__ import annotations

import pytest

from pipeline.call.question import Call, Question
from pipeline.call.read_call import read_questions
from pipeline.words import Words
from pipeline.words.appliance import about
from pipeline.words.burnt import burnt

DANGERS = """
washing machine | Klemme am Heizstab verschmort | burnt
washing machine | Stecker ist angekokelt | burnt/flex or plug damaged/smells of burning
tumble dryer | Kabel verkohlt, riecht verbrannt | burnt/smells of burning
dishwasher | es riecht verbrannt | smells of burning
electric oven | Klemmleiste geschmolzen | burnt
electric hob | Anschluss hinten schwarz und verschmort | smells of burning
fridge | Platine durchgeschmort | burnt
washing machine | Steckdose ist braun und heiß | flex or plug damaged/smells of burning/burnt
washing machine | hab eine gewischt bekommen am Gehäuse | gives electric shock
dishwasher | beim Anfassen kribbelt es | gives electric shock
washing machine | Rauch kommt hinten raus | smells of burning
tumble dryer | hat Funken gesprüht | smells of burning
microwave oven | Tür schließt nicht mehr richtig und sie läuft trotzdem | door does not shut/protection bypassed/door does not open or lock
vacuum cleaner | Akku ist aufgebläht | battery swollen or hot
washing machine | Wasser läuft in die Steckdose | water at the mains
washing machine | hat laut geknallt, jetzt geht nichts mehr | went bang
washing machine | FI fliegt sofort raus | trips supply
electric oven | Scheibe im Backofen ist zersprungen | glass cracked
washing machine | der Türschalter ist überbrückt worden | protection bypassed/safety device bypassed
cooker | es stinkt nach Gas | gas smell
dishwasher | am Netzstecker sind die Stifte angeschmort | burnt/flex or plug damaged/smells of burning
tumble dryer | beim Start kam eine kleine Flamme unten raus | smells of burning/sparks/trips supply/went bang
washing machine | Elektronik hat gebrutzelt und gestunken | burnt/smells of burning/sparks
electric oven | hinten an der Anschlussdose sind die Drähte verkohlt | burnt/smells of burning/flex or plug damaged
fridge | wenn ich barfuß an die Tür fasse krieg ich eine | gives electric shock
vacuum cleaner | Akkupack wird so heiß dass man ihn nicht anfassen kann | battery swollen or hot
washing machine | unter der Maschine steht Wasser bis an die Verteilersteckdose | water at the mains
microwave oven | innen blitzt es und es riecht nach Schmor | sparks/smells of burning
coffee machine | hat einen Kurzschluss gemacht, ganze Küche stromlos | trips supply
electric hob | quer durchs Kochfeld geht ein Sprung | glass cracked
"""
HARMLESS = """
electric oven | Kuchen verbrannt, unten zu dunkel
electric oven | Pizza verkohlt, weil der Ofen zu heiß wird
tumble dryer | Wäsche wird nicht trocken, kein Brandgeruch
washing machine | riecht nicht verbrannt, heizt nur nicht
washing machine | Funktion Schleudern geht nicht
dishwasher | Kunde ist geschockt vom Preis, spült nicht sauber
fridge | wohnt in der Gasse 5, kühlt nicht
fridge | Gast sagt, kühlt nicht
electric hob | Kochfeld mit Eingebranntem verschmutzt, hintere Platte geht nicht
washing machine | Türgummi schwarz vor Schimmel
washing machine | Stoßdämpfer schlagen beim Schleudern
vacuum cleaner | Akku hält nur noch kurz
washing machine | Wasser läuft nur langsam ein
washing machine | knallrote Lampe leuchtet, pumpt nicht ab
microwave oven | Tür quietscht
electric oven | Lampe durchgebrannt
washing machine | Sicherung ist drin, Maschine tot
coffee machine | Kaffee schmeckt verbrannt
washing machine | Stecker gezogen und wieder gesteckt, pumpt immer noch nicht ab
electric oven | Käse auf dem Boden geschmolzen, Umluft geht nicht
washing machine | Brandneu, erst gestern geliefert, schleudert nicht
dishwasher | Teller haben braune Flecken, sonst alles gut
electric oven | der Auflauf wird oben schwarz und innen roh
fridge | an der Steckdose liegt es nicht, Lampe geht auch nicht
tumble dryer | Wäsche riecht nach dem Trocknen muffig
washing machine | Trommel schlägt an beim Schleudern
vacuum cleaner | Akku lädt nicht mehr
microwave oven | Teller dreht nicht, Tür schließt gut
coffee machine | Kaffee viel zu heiß und bitter
electric hob | Topf angebrannt, Platte wird nur lauwarm
"""


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load(("en", "de"))


def asked(words: Words, lines: list[list[str]]) -> list[Question]:
    return read_questions(words, None, [Call(kind, complaint=text) for kind, text, *_ in lines])


def cut(lines: str) -> list[list[str]]:
    return [[cell.strip() for cell in line.split("|")] for line in lines.strip().splitlines()]


def raised(words: Words, question: Question) -> set[str]:
    hazards = set(about(words, question.kind).hazards)
    seen = {"burnt"} if burnt(question.findings) else set()
    return (hazards & set(question.symptoms)) | seen | {question.licensed}


def test_dangers_are_heard(words: Words) -> None:
    lines = cut(DANGERS)
    found = [raised(words, question) for question in asked(words, lines)]
    missed = [text for (_, text, what), here in zip(lines, found, strict=True) if here.isdisjoint(what.split("/"))]
    assert missed == []


def test_harmless_lines_raise_nothing(words: Words) -> None:
    lines = cut(HARMLESS)
    found = [raised(words, question) for question in asked(words, lines)]
    assert [text for (_, text), here in zip(lines, found, strict=True) if here != {""}] == []


@pytest.mark.parametrize("text", ["es riecht verschmort", "Kabel angekokelt", "Klemme verkohlt"])
def test_a_burning_smell_is_heard_where_only_english_is_read(text: str) -> None:
    (question,) = asked(Words.load(("en",)), [["washing machine", text]])
    assert question.symptoms[:1] in (("smells of burning",), ("flex or plug damaged",))
