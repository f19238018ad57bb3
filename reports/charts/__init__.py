"""Charts, one question a module: tidy frame in, ``alt.Chart`` out, one finding each.

Every module has ``chart(frame, wording, ...)``, which draws, and ``picture(frame, wording, ...)``, which adds the
words and the table. The frames come ready: rates, intervals and verdicts are made and tested elsewhere. A column
``said`` holds each mark's sentence, for tooltip, keyboard and screen reader alike.
"""
