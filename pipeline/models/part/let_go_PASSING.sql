-- Lets go of PASSING, once no model reads it any more: at ten million pickings it would be in the way of what comes.
-- Grain: one row per row of it.
-- reads: PASSING
-- writes: nothing
drop table PASSING
