"""Calls of a table of phrasings, read and answered all at once."""

from __future__ import annotations

from dataclasses import replace

from pipeline.advice.kept import kept
from pipeline.call.question import Call
from pipeline.call.read_call import read_questions
from pipeline.visit.ask import answered, ask
from pipeline.visit.circumstances import COMES_AND_GOES


def said_at(table):
    """Calls of a table of phrasings, each said at its door."""
    calls = []
    for door, kind, text in table:
        said = {"kind": kind, "complaint": "not working"} if door != "kind" else {"kind": kind}
        said |= {door: [text]} if door in ("found", "notes") else {"complaint" if door == "kind" else door: text}
        calls.append(Call(**said))
    return calls


def asked_of(workshop, table):
    return read_questions(workshop.words, workshop.database, said_at(table))


def understood(question):
    """All of a question that its answer depends on."""
    unread = {"complaint": "", "heard": (), "not_understood": (), "remarks": ()}
    return repr((replace(question, **unread), bool(COMES_AND_GOES.search(question.complaint))))


def told_at(workshop, table):
    """The answers to a table of phrasings: all are read, and those read alike are answered once."""
    words, database = workshop.words, workshop.database
    questions = asked_of(workshop, table)
    alike = {understood(question): question for question in questions}
    asked = ask(database, words, workshop.settings, list(alike.values()))
    told = {like: answered(one, kept(database)) for like, one in zip(alike, asked, strict=True)}
    return [told[understood(question)] for question in questions]
