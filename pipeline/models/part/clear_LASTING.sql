-- Takes LASTING out of the draft before all is decided anew, so that what comes can stand where it stood.
-- Grain: one row per row of it.
-- reads: LASTING
-- writes: nothing
drop table LASTING
