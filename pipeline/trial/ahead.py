"""For how long a lesson is used. By itself, so that the help of a command names it without loading the work."""

AHEAD = 10  # soaks that are taken to follow in which what was learned is used: our choice, no source
