-- The rows for which a refresh decides anew: all of the part's batches, those that are in no batch, and the changed
-- ones, also those that are gone. Others are on the part's stage for what hangs on them, and stay as they were.
-- Grain: one row per line.
-- reads: batches, changed_rows, fallback, part_batches, resolved, stage_batches, stage_fillings, stage_harvests,
--     stage_observations
-- writes: part_lines
create or replace temp table part_lines as
with own as (
    select line from batches where batch in (select batch from part_batches)
),
elsewhere as (
    select line from resolved where batch_line is not null and batch_line not in (select line from own)
    union all
    select line from fallback where batch_line is not null and batch_line not in (select line from own)
)
select line from changed_rows
union
select line from stage_batches where batch in (select batch from part_batches)
union
select line from stage_fillings where batch in (select batch from part_batches)
union
select line from stage_harvests where line not in (select line from elsewhere)
union
select line from stage_observations where line not in (select line from elsewhere)
