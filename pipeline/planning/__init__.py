"""Planning: what to begin when, so that so many kg can be picked every week; and what has to be there for it."""
