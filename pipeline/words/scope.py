"""What one clause of a complaint says: which complaints are there, which are denied, which are only suspected.

A *function* ("drain", "heat") is a complaint when it is denied or goes badly: "not draining", "slow to drain".
A *symptom* ("leak", "noisy") is a complaint when it stands there, and is denied by "not leaking".
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.words.lexicon import Lexicon
    from pipeline.words.phrases import Meaning

_COMPLAINTS = frozenset({"function", "symptom"})
_OTHERS = frozenset({"block", "part", "thing"})
_UNKNOWN = "\ufffd"


class Said(NamedTuple):
    """One complaint found in a clause."""

    symptom: str
    is_negated: bool
    is_doubtful: bool


class _Mention:
    """A function or symptom on its way through a clause."""

    def __init__(self, meaning: Meaning) -> None:
        self.is_function = meaning.group == "function"
        self.term = meaning.term
        self.is_denied = False
        self.goes: str | None = None
        self.is_doubtful = False

    def said(self) -> Said | None:
        if not self.is_function:
            return Said(self.term, self.is_denied, self.is_doubtful)
        if self.is_denied or self.goes == "bad":
            return Said(self.term, False, self.is_doubtful)
        return Said(self.term, True, self.is_doubtful) if self.goes == "ok" else None


class _Scope:
    """What is pending while a clause is read from left to right."""

    def __init__(self) -> None:
        self.mentions: list[_Mention] = []
        self.denies: str | None = None  # the cue that waits for what it denies
        self.was_denied = False  # the last mention was, so "or" carries it on
        self.goes: str | None = None  # "ok" or "bad" that waits for a function
        self.is_doubtful = False
        self.joined = ""  # "or", "and" or "comma" since the last mention
        self.last: _Mention | None = None  # the mention that "ok", "bad" or "?" would speak of
        self.gaps = 0

    def deny(self, cue: str) -> None:
        if self.denies is not None and cue == "fail" and not self.gaps:
            self.denies, self.goes = None, "ok"  # "never fails to"
            return
        self.denies, self.gaps, self.goes = cue, 0, None

    def join(self, cue: str) -> None:
        if cue == "comma":
            self.is_doubtful = False
        if self.denies is not None and (self.last is None or self.joined != ""):
            self.denies = None
        self.joined = "or" if "or" in (cue, self.joined) else cue
        self.goes = None

    def gap(self) -> None:
        self.gaps += 1
        if self.denies in ("no", "fail") or self.gaps > 1:
            self.denies = None
        self.goes = None
        if self.gaps > 1:
            self.last, self.was_denied = None, False

    def judge(self, goes: str) -> None:
        """Take "ok" or "bad" in: denied it means its opposite; it speaks of the mention before it, else of the next."""
        is_denied, self.denies = self.denies is not None, None
        if is_denied:
            goes = "bad" if goes == "ok" else "ok"
        if self.last is not None and not self.joined and (self.last.goes is None or is_denied):
            if not self.last.is_denied:
                self.last.goes = goes
        else:
            self.goes = goes

    def mention(self, meaning: Meaning, first_word: str) -> None:
        mention = _Mention(meaning)
        if first_word in ("not", "no"):  # the phrase brings its own denial: "not hot enough"
            mention.is_function, self.denies = True, "not"
        carried = self.was_denied and self.last is not None and not self.gaps
        carries = self.joined == "or" or (
            self.joined in ("and", "comma") and mention.is_function and self.last is not None and self.last.is_function
        )
        mention.is_denied = self.denies is not None or (carried and carries and self.goes is None)
        mention.is_doubtful = self.is_doubtful
        if self.goes is not None and mention.is_function:
            mention.goes = self.goes
        self.mentions.append(mention)
        self.last, self.was_denied = mention, mention.is_denied
        self.denies, self.goes, self.joined, self.gaps = None, None, "", 0


def read_clause(words: Sequence[str], kind: str | None, lexicon: Lexicon) -> list[Said]:
    """Give the complaints of one clause.

    Parameters
    ----------
    words
        Base words of the clause, unknown ones as one gap.
    kind
        Kind of appliance; None = not known, then only what means the same for every kind counts.
    lexicon
        The language.
    """
    scope = _Scope()
    effects, tree = lexicon.effects, lexicon.tree
    position = 0
    while position < len(words):
        word = words[position]
        complaint = other = None
        if word != _UNKNOWN:
            complaint = tree.longest(words, position, kind, _COMPLAINTS)
            other = tree.longest(words, position, kind, _OTHERS)
        if complaint is not None and (other is None or complaint[0] >= other[0]):
            end = complaint[0]
            if word == "work" and end - position == 1:
                _work(scope, complaint[1][0])
            else:
                scope.mention(complaint[1][0], word)
            position = end
        elif other is not None and (other[0] - position > 1 or word not in effects):
            if scope.denies == "no":
                scope.denies = None
            position = other[0]
        else:
            _hear(scope, word, effects.get(word))
            position += 1
    return [said for said in (mention.said() for mention in scope.mentions) if said is not None]


def _work(scope: _Scope, meaning: Meaning) -> None:
    """Take "works" in: it speaks of a function just named, else of the appliance."""
    last = scope.last
    if last is not None and last.is_function and not last.is_denied and last.goes is None and scope.joined == "":
        last.goes = "bad" if scope.denies is not None else "ok"
        scope.was_denied, scope.denies = scope.denies is not None, None
    elif scope.denies is not None:
        scope.mention(meaning, "work")
    else:
        scope.goes = None


def _hear(scope: _Scope, word: str, effect: str | None) -> None:
    """Take a single word in that is no phrase."""
    if word == _UNKNOWN:
        scope.gap()
    elif effect in ("not", "no", "fail"):
        scope.deny(effect)
    elif effect in ("ok", "bad"):
        scope.judge(effect)
    elif effect == "doubt":
        scope.is_doubtful = True
    elif effect == "doubt after":
        if scope.last is not None and not scope.gaps:
            scope.last.is_doubtful = True
        scope.join("comma")
    elif effect == "confirm":
        scope.is_doubtful, scope.denies = False, None
    elif effect in ("or", "and", "comma"):
        scope.join(effect)
