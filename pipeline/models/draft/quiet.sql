-- Draws no bar of the database's own progress, which it would from two seconds on.
-- Grain: one row of none: it sets what this connection does.
-- reads: nothing
-- writes: nothing
set enable_progress_bar = false
