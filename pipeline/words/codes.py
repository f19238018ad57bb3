"""Fault codes as written, in one normal form: digits, lamps lit, counted flashes, or the make's own signs."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

_LAMPS = re.compile(
    r"\b(?:lamps?|leds?|lights?|lampen?|leuchten?)\b[\s:#.]*"
    r"((?:\d{1,2}(?:\s*(?:[+,&/]|and|und|,\s*and)\s*|\s+))*\d{1,2})\b"
    r"(?!\s*(?:x|times)?\s*(?:flash|blink))"
)
_LIST = r"\d{1,2}(?:(?:\s*(?:[+,&/]|and|und)\s*|\s+)\d{1,2})+"
_LAMPS_AFTER = re.compile(
    rf"\b({_LIST})\s*(?:lamps?|leds?|lights?|lampen?|leuchten?|lit|leucht\w+|on\s*$)(?!\s*(?:x|times)?\s*(?:flash|blink))"
    r"|\b(\d{1,2})(?:\.|st|nd|rd|th)?\s*(?:(?:lamp|led|light|lampe|leuchte)\s*)?(?:is\s*)?(?:lit|leuchtet)\b"
    r"|\b(\d{1,2})(?:st|nd|rd|th)\s*(?:lamp|led|light)\b"
)
_ORDINAL_LIST = re.compile(r"\b\d{1,2}(?:st|nd|rd|th)?(?:\s*(?:[+,&/]|and|und)\s*\d{1,2}(?:st|nd|rd|th))+\b")
_FLASHING_LAMP = re.compile(r"\b(?:lamp|led|light|lampe)\s*\d{1,2}\s+(?=(?:flash|blink))")
_FLASHING_LIST = re.compile(rf"\b{_LIST}\s*(?:flash|blink)\w*")
_NUMBERS_ONLY = re.compile(rf"\W*({_LIST}|\d{{1,2}})\W*")
_ABOUT_LIGHTS = re.compile(r"lamp|led|light|lit\b|leuchte|flash|blink|pulse")
_WRITTEN_OUT = {
    word: number
    for number, words in enumerate(
        (
            "one first eins eine erste ersten", "two second twice zwei zweite zweiten",
            "three third drei dritte dritten",
            "four fourth vier vierte vierten", "five fifth fünf fünfte fünften", "six sixth sechs sechste sechsten",
            "seven seventh sieben siebte siebten", "eight eighth acht achte achten", "nine ninth neun neunte neunten",
        ),
        start=1,
    )
    for word in words.split()
}  # fmt: skip
_ORDINALS = frozenset(word for word in _WRITTEN_OUT if word.endswith(("st", "nd", "rd", "th", "te", "ten")))
_FLASHES = re.compile(
    r"\b(\d{1,2})\s*(?:x|times)?\s*(?:flash|blink|pulse)\w*"
    r"|\b(?:flash|blink|pulse)\w*\s*(?:x|of|:|mit)?\s*(\d{1,2})\s*(?:x|times|mal)?\b"
)
_WORDS_BEFORE = re.compile(
    r"\b(error|err|er|fehler|fehlercode|fault|code|codes|flt|display|displays|displaying|shows?|showing|says|message"
    r"|msg"
    r"|no|nr|number|and|or|then|und|on|the)\b[\s:.#=-]*"
)
_CODE = re.compile(r"(?<![a-z0-9])([a-z]{1,2})?([\s:.#_-]{0,3})(\d{1,4})(?![0-9])([a-z]?)(?![a-z0-9])")
_SIGN = re.compile(r"(?<![a-z0-9])(?=[a-z0-9]*[a-z])[a-z0-9]{2,5}(?![a-z0-9])")
_NOTHING = frozenset(
    {
        "",
        "-",
        "--",
        "none",
        "no",
        "no code",
        "n/a",
        "na",
        "nil",
        "no codes",
        "not shown",
        "no fault code",
        "no error",
        "unknown",
        "?",
        "keine",
        "kein",
        "x",
        "no code shown",
        "no codes stored",
        "none shown",
        "not known",
        "0",
        "00",
    }
)
_ERROR_WORDS = frozenset({"error", "err", "er", "fehler"})
LONGEST = 120
_NO_CODE_AFTER = r"(?!\s*(?:days?|weeks?|months?|years?|yrs?|times|hrs?|hours?|mins?|minutes|am|pm|%|\.\d))"
_A_CODE = (
    r"\b(?:codes?|err(?:or)?|fehler(?:code)?|flt)\b[\s:.#=-]*(?:[a-z]{1,2}[\s:.-]?)?\d{1,3}\b"
    r"(?:\s*/\s*[a-z]{0,2}\d{1,3}\b)?"
)
_A_SIGN = (
    r"\b(?:display(?:s|ing)?|shows?|showing|says|reads)\b[\s:.#=-]*[a-z]{1,2}[:.-]?\d{1,3}\b"
    r"|\b[ef][:.-]?\d{2}\b"
    r"|\b(?:lamps?|leds?|lights?|lampen?|leuchten?)[\s:#.]*\d{1,2}(?:\s*(?:\+|,|&|and|und)\s*\d{1,2}\b)+"
    r"|\b\d{1,2}\s*(?:x\s*)?flashes\b"
)
_SAID = re.compile(f"{_A_CODE}{_NO_CODE_AFTER}|{_A_SIGN}", re.IGNORECASE)


def _first_look(pattern: str) -> str:
    """Give a pattern, in RE2 syntax, that finds at least what ``pattern`` finds: RE2 knows ASCII words and blanks."""
    for python, re2 in ((r"\b", ""), (r"[\s", r"[\pZ\pC"), (r"\s", r"[\pZ\pC]"), (r"\d", r"\p{Nd}")):
        pattern = pattern.replace(python, re2)
    return f"(?i){pattern}"


FIRST_LOOK = _first_look(f"{_A_CODE}|{_A_SIGN}")


@dataclass(frozen=True)
class CodeRule:
    """How one make shows a fault; see ``codes.toml``."""

    letter: str = ""
    digits: int = 2
    flashes: bool = False
    table: Mapping[str, str] = field(default_factory=dict)
    """Sign as written, in lower case, or lamps lit in their normal form → code."""

    def number(self, number: int, letter: str = "") -> str:
        """Give the code of a number, with the letter written before it or the make's own."""
        letter = (letter or self.letter).upper()
        if letter:
            return f"{letter}{number:0{self.digits}d}" if len(letter) == 1 else f"{letter}{number}"
        return f"{number} flashes" if self.flashes else f"{number:0{self.digits}d}"


def sign_of(written: str) -> str:
    """Give a sign of a make's table as `read_codes` looks for it: in lower case, lamps in their normal form.

    Examples
    --------
    >>> sign_of("Lamps 4 and 1")
    'lamps 1+4'
    """
    sign = " ".join(written.lower().split())
    match = _LAMPS.fullmatch(sign)
    return lamps_of([int(digits) for digits in re.findall(r"\d+", match.group(1))]) if match else sign


def lamps_of(lamps: list[int]) -> str:
    """Give lit lamps in their normal form, as in ``lamps 1+4``."""
    return "lamps " + "+".join(str(lamp) for lamp in sorted(set(lamps)))


def read_codes(written: str, rule: CodeRule) -> list[str]:
    """Give the codes of one cell, each once, in the order written.

    Parameters
    ----------
    written
        The cell.
    rule
        How the make shows a fault.

    Examples
    --------
    >>> read_codes("K7/K08, N:31", CodeRule())
    ['K07', 'K08', 'N31']
    >>> read_codes("lamps 4 and 1", CodeRule(table={"lamps 1+4": "K07"}))
    ['K07']
    """
    text = " ".join(written[:LONGEST].lower().replace("\N{RIGHT SINGLE QUOTATION MARK}", "'").split())
    if text.strip(" .") in _NOTHING:
        return []
    found: list[tuple[int, str]] = []
    if rule.table:
        text = _from_table(text, rule, found)
    if _ABOUT_LIGHTS.search(text):
        text = re.sub(r"[^\W\d]+", _in_digits, text)
    text = _from_lamps(text, rule, found)
    text = _from_flashes(text, rule, found)
    _from_digits(text, rule, found)
    return list(dict.fromkeys(code for _place, code in sorted(found, key=lambda place: place[0])))


def said_in(text: str) -> str:
    """Give the pieces of a complaint that name a code, to be read by `read_codes`; empty when there are none.

    A bare number counts only after a word for a code, never when it counts days or times.

    Examples
    --------
    >>> said_in("won't drain, shows K07 and lamps 1+4; error 3 days ago")
    'shows K07; lamps 1+4'
    """
    return "; ".join(match.group() for match in _SAID.finditer(text))


def _blank(text: str, start: int, end: int) -> str:
    return text[:start] + "\x00" * (end - start) + text[end:]


def _from_table(text: str, rule: CodeRule, found: list[tuple[int, str]]) -> str:
    for sign in sorted((sign for sign in rule.table if not _LAMPS.fullmatch(sign)), key=len, reverse=True):
        pattern = r"(?<![a-z0-9])" + r"\s+".join(re.escape(word) for word in sign.split()) + r"(?![a-z0-9])"
        for match in re.finditer(pattern, text):
            found.append((match.start(), rule.table[sign]))
            text = _blank(text, match.start(), match.end())
    return text


def _in_digits(match: re.Match[str]) -> str:
    """Give a number written out in digits: "third" is 3rd, "four" is 4."""
    word = match.group()
    number = _WRITTEN_OUT.get(word)
    return word if number is None else f"{number}th" if word in _ORDINALS else str(number)


def _from_lamps(text: str, rule: CodeRule, found: list[tuple[int, str]]) -> str:
    """Read which lamps are lit; on a make that shows lamps a bare list of numbers is one of lamps."""
    text = _ORDINAL_LIST.sub(lambda match: re.sub(r"(?<=\d)(?:st|nd|rd|th)", "  ", match.group()), text)
    text = _FLASHING_LAMP.sub(lambda match: "\x00" * len(match.group()), text)
    patterns = [_LAMPS, _LAMPS_AFTER]
    if any(sign.startswith("lamps ") for sign in rule.table) and _NUMBERS_ONLY.fullmatch(text):
        patterns = [_NUMBERS_ONLY]
    for pattern in patterns:
        for match in list(pattern.finditer(text)):
            lamps = [int(digits) for digits in re.findall(r"\d+", match.group())]
            found.append((match.start(), rule.table.get(lamps_of(lamps), lamps_of(lamps))))
            text = _blank(text, match.start(), match.end())
    if found:
        text = _FLASHING_LIST.sub(lambda match: "\x00" * len(match.group()), text)
    return text


def _from_flashes(text: str, rule: CodeRule, found: list[tuple[int, str]]) -> str:
    for match in list(_FLASHES.finditer(text)):
        count = int(match.group(1) or match.group(2))
        code = rule.number(count) if rule.flashes and rule.letter else f"{count} flashes"
        found.append((match.start(), code))
        text = _blank(text, match.start(), match.end())
    return text


def _from_digits(text: str, rule: CodeRule, found: list[tuple[int, str]]) -> None:
    text = re.sub(r"\b(lit|steady|pause|rest|flashing|others?|off|times)\b", lambda m: "\x00" * len(m.group()), text)
    is_error = bool(_ERROR_WORDS & set(re.findall(r"[a-z]+", text)))
    plain = _WORDS_BEFORE.sub(lambda match: "\x00" * len(match.group()), text)
    letter_before = ""
    end_before = -9
    taken = plain
    for match in _CODE.finditer(plain):
        letter, gap, digits, tail = match.group(1) or "", match.group(2), match.group(3), match.group(4)
        if len(letter) == 2 and gap:
            letter = letter if ":" in gap or "-" in gap else ""
        if tail:
            code = f"{letter}{int(digits)}{tail}".upper()
        else:
            if not letter and letter_before and "/" in plain[end_before : match.start() + 1]:
                letter = letter_before
            if not letter and not rule.letter and is_error and not rule.flashes:
                letter = "e"
            code = rule.number(int(digits), letter)
        letter_before, end_before = letter, match.end()
        found.append((match.start(), code))
        taken = _blank(taken, match.start(), match.end())
    if not found:
        for match in _SIGN.finditer(taken):
            found.append((match.start(), match.group().upper()))
            if len(found) == 4:
                return
