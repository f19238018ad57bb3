"""How people write it: kinds, complaints, findings, causes, parts, ages and money, as in a real workshop.

Wording is from memory of how the trade writes (common practice, no source). Nothing here knows more than the terms
it is asked to word, so the truth files hold exactly what the text says.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from demo_data.generator.town_phrases import PHRASES
from demo_data.generator.wording import (
    CAUSE_SAID,
    CLOSINGS,
    DENIED,
    DONE,
    DOUBTS,
    FOUND,
    KIND_SAID,
    MISTYPE,
    OPENINGS,
    OUTCOME_SAID,
    PART_SAID,
    SAID,
    SAID_OF_KIND,
    VAGUE,
    VAGUE_TERM,
)

if TYPE_CHECKING:
    import numpy as np


def _one(rng: np.random.Generator, forms: tuple[str, ...]) -> str:
    return forms[int(rng.integers(len(forms)))]


def symptom(rng: np.random.Generator, kind: str, term: str) -> str:
    """Word one said symptom."""
    for (kinds, name), forms in SAID_OF_KIND.items():
        if name == term and kind in kinds:
            return _one(rng, forms)
    return _one(rng, SAID[term])


def mistyped(rng: np.random.Generator, text: str, chance: float = 0.05) -> str:
    """Misspell one word of a text now and then: a common slip, or one letter dropped or doubled in a long word."""
    if rng.random() >= chance:
        return text
    words = text.split(" ")
    for number, word in enumerate(words):
        if word in MISTYPE:
            words[number] = MISTYPE[word]
            return " ".join(words)
    long = [number for number, word in enumerate(words) if len(word) >= 7 and word.isalpha()]
    if long:
        number = long[int(rng.integers(len(long)))]
        word, at = words[number], int(rng.integers(2, len(words[number]) - 1))
        words[number] = word[:at] + word[at + 1 :] if rng.random() < 0.5 else word[:at] + word[at - 1 :]
    return " ".join(words)


def complaint(
    rng: np.random.Generator,
    kind: str,
    symptoms: Mapping[str, bool],
    shows_code: bool,
    manners: Mapping[str, str] | None = None,
) -> tuple[str, dict[str, str]]:
    """Word a complaint.

    Returns
    -------
    tuple
        The text, and what it truly says: symptom → ``said``, ``denied``, ``doubtful``, or ``own`` where it is said in
        words of the town's own.
    """
    truth: dict[str, str] = {}
    said: list[str] = []
    for term, is_said in symptoms.items():
        if not is_said:
            continue
        manner = (manners or {}).get(term)
        text = _one(rng, PHRASES[manner]) if manner else symptom(rng, kind, term)
        truth[term] = "own" if manner else "said"
        if said and not manner and rng.random() < 0.08:
            text, truth[term] = _one(rng, DOUBTS).format(text), "doubtful"
        said.append(text)
    if shows_code and rng.random() < 0.3:
        said.append(_one(rng, SAID["lamps or code shown"]))
        truth["lamps or code shown"] = "said"
    if not said:
        said.append(_one(rng, VAGUE))
        if said[0] in VAGUE_TERM:
            truth[VAGUE_TERM[said[0]]] = "said"
    joined = said[0]
    for text in said[1:]:
        joined += _one(rng, (", ", " and ", " & ", ", ", "; ", " + ")) + text
    for term in (term for term, is_said in symptoms.items() if not is_said and term in DENIED):
        joined += _one(rng, (", ", ", ", " but ", "; ")) + _one(rng, DENIED[term])
        truth[term] = "denied"
    text = _one(rng, OPENINGS) + mistyped(rng, joined) + _one(rng, CLOSINGS)
    if rng.random() < 0.25:
        text = text[0].upper() + text[1:]
    elif rng.random() < 0.05:
        text = text.upper()
    return text, truth


def findings(rng: np.random.Generator, found: Mapping[str, str]) -> str:
    """Word what was found: the tool's own ``finding=value`` form, or short phrases."""
    if rng.random() < 0.6:
        return "; ".join(f"{finding}={value}" for finding, value in found.items())
    return ", ".join(
        _one(rng, FOUND.get((finding, value), (f"{finding}={value}",))) for finding, value in found.items()
    )


def cause(rng: np.random.Generator, term: str, is_doubtful: bool) -> str:
    """Word a cause, as found or as a guess."""
    forms = CAUSE_SAID.get(term, (term.replace("open circuit", "o/c").replace("control board", "PCB"),))
    text = term if rng.random() < 0.55 else _one(rng, forms)
    if is_doubtful:
        return _one(rng, ("? {}", "poss {}", "?{}", "possibly {}", "suspect {}")).format(text)
    return text[0].upper() + text[1:] if rng.random() < 0.2 else text


def part_number(part: str) -> str:
    """Return an invented part number, always the same for a part."""
    letters = "".join(word[0] for word in part.split())[:2].upper().ljust(2, "X") + part[-1].upper()
    return f"{letters}-{100 + sum(map(ord, part)) % 900}"


def part_line(rng: np.random.Generator, part: str, price: float) -> str:
    """Word one part line; the price is left out now and then."""
    name = part if rng.random() < 0.6 else _one(rng, PART_SAID.get(part, (part,)))
    at = f"{price:.2f}"
    if rng.random() < 0.004:
        return f"customer's own {part}"
    return _one(
        rng,
        (f"{name} x1 @ {at}", f"1 x {part_number(part)} {name} @ {at}", f"{name} @ {at}", f"{name} @ £{at}",
        f"1 x {name}",
         name, f"1x {name} @ {at}", f"{name} x1 @ {at}"),
    )  # fmt: skip


def age(rng: np.random.Generator, years: float, year: int) -> tuple[str, float]:
    """Word an age; returns the text and the years it says (NaN: it says none)."""
    at = rng.random()
    months = max(round(years * 12), 0)
    whole = max(round(years), 1)
    nearest = whole if abs(years - whole) < 0.5 else int(years)
    if at < 0.12:
        return "", float("nan")
    if at < 0.15:
        return _one(rng, ("?", "unknown", "out of warranty", "old", "not known", "n/k")), float("nan")
    if years < 0.25 and at < 0.6:
        return _one(rng, ("new", "New", "brand new")), 0.0
    if years < 1:
        return _one(rng, (f"{max(months, 1)} months", f"{max(months, 1)} mths", f"{max(months, 1)}m")), max(
            months, 1
        ) / 12
    if at < 0.3:
        return _one(rng, (f"{months // 12}y{months % 12}m", f"{months // 12}y {months % 12}m")), months / 12
    if at < 0.36 and years < 5:
        return f"{months} months", months / 12
    if at < 0.5:
        made = year - int(years) if rng.random() < 0.5 else year - whole
        return str(made), float(year - made)
    if at < 0.58:
        above = int(years) + 1
        if above - years < 0.4:
            return _one(rng, (f"nearly {above} years", f"nearly {above} yrs", f"almost {above} years")), float(above)
    if at < 0.68:
        return _one(
            rng, (f"about {nearest}", f"approx {nearest} yrs", f"about {nearest} years", f"c. {nearest} years")
        ), float(nearest)
    if at < 0.8:
        return str(nearest), float(nearest)
    return _one(
        rng, (f"{nearest} yrs", f"{nearest}yrs", f"{nearest} years", f"{nearest} yr", f"{nearest} years old")
    ), float(nearest)


def money(rng: np.random.Generator, amount: float) -> str:
    """Word an amount of money."""
    plain = f"{amount:.2f}"
    whole = f"{amount:.0f}" if amount == round(amount) else plain
    return _one(rng, (plain, plain, plain, f"£{amount:,.2f}", f"£{whole}", f"{amount:,.2f}", f"GBP {plain}"))


def duration(rng: np.random.Generator, minutes: int) -> str:
    """Word a duration."""
    hours, rest = divmod(minutes, 60)
    return _one(
        rng, (str(minutes), str(minutes), str(minutes), f"{minutes} min", f"{minutes} mins", f"{hours}h{rest:02d}")
    )


def serial(rng: np.random.Generator, number: str) -> str:
    """Write a serial as technicians do: O for 0 now and then, spaces, dashes, small letters."""
    text = number
    if rng.random() < 0.12:
        text = text.replace("0", "O")
    at = rng.random()
    if at < 0.1:
        text = f"{text[:4]} {text[4:]}"
    elif at < 0.2:
        text = f"{text[:2]}-{text[2:]}"
    elif at < 0.28:
        text = text.lower()
    return text


def make(rng: np.random.Generator, name: str) -> str:
    """Write a make: now and then in capitals, small letters or with a stray space."""
    at = rng.random()
    return name.upper() if at < 0.08 else name.lower() if at < 0.16 else f" {name}" if at < 0.18 else name


def model(rng: np.random.Generator, name: str) -> str:
    """Write a model: now and then with a space or a dash before the variant, or in small letters."""
    at = rng.random()
    if at < 0.08:
        return name.lower()
    if at < 0.16:
        return f"{name[:2]} {name[2:]}"
    if at < 0.24 and len(name) > 5:
        return f"{name[:5]}-{name[5:]}"
    return name


def code(rng: np.random.Generator, normal: str) -> str:
    """Write a code as it is met: ``K41``, ``K9``, ``K:41``, ``err 41``, ``lamps 1 and 4``, ``4 flashes, pause``."""
    if normal.startswith("lamps "):
        lamps = normal[6:].split("+")
        named = " and ".join([", ".join(lamps[:-1]), lamps[-1]]) if len(lamps) > 1 else lamps[0]
        plural = "lamps" if len(lamps) > 1 else "lamp"
        return _one(
            rng,
            (
                f"{plural} {'+'.join(lamps)}",
                f"{plural} {named}",
                f"{plural} {named} lit",
                f"{plural} {'+'.join(lamps)}",
            ),
        )
    if normal.endswith(" flashes"):
        count = normal.split(" ")[0]
        return _one(rng, (f"{count} flashes", f"{count} flashes, pause", f"{count}x flash", f"flashes {count} times"))
    if normal[1:].isdigit():
        letter, digits = normal[0], normal[1:]
        short = digits.lstrip("0")
        return _one(
            rng,
            (normal, normal, normal, f"{letter}{short}", f"{letter}:{digits}", f"err {short}",
            f"code {letter}-{digits}",
             f"{letter.lower()}{digits}", f"{letter} {digits}"),
        )  # fmt: skip
    return _one(rng, (normal, normal.lower(), normal.capitalize(), f"code {normal}"))


def kind(rng: np.random.Generator, term: str) -> str:
    """Write a kind of appliance; the full name more often than an abbreviation."""
    return term if rng.random() < 0.35 else _one(rng, KIND_SAID[term])


def outcome(rng: np.random.Generator, term: str) -> str:
    """Write an outcome."""
    return term if rng.random() < 0.5 else _one(rng, OUTCOME_SAID[term])


def done(rng: np.random.Generator, term: str) -> str:
    """Write what was done, by the outcome."""
    return _one(rng, DONE[term])
