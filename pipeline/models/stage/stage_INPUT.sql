-- Every row of the files of INPUT, good or bad: its cells, typed; the texts of some; what stands in columns that the
-- contract does not know; and whether a cell sets the row aside.
-- Grain: one row per row that is not blank.
-- reads: nothing
-- writes: stage_INPUT
create table stage_INPUT (
    {stage types of INPUT}
)
