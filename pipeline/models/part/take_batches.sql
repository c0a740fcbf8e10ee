-- Puts the batches that the part needs on its stage, in memory: those that its rows name, those of the days of its own, and the
-- changed ones.
-- Grain: one row per row.
-- reads: changed_rows, part_batches, stage_batches, stage_fillings, stage_harvests, stage_observations
-- writes: stage_batches
insert into memory.stage_batches
with named as (
    select batch from part_batches
    union
    select batch from memory.stage_fillings
    union
    select batch from memory.stage_harvests
    union
    select batch from memory.stage_observations
),
days as (
    select inoculated_on from draft.stage_batches where batch in (select batch from part_batches)
)
select
    {stage columns of batches as s}
from draft.stage_batches as s
where s.batch in (select batch from named where batch is not null)
    or s.inoculated_on in (select inoculated_on from days where inoculated_on is not null)
    or s.line in (select line from changed_rows where table_name = 'batches')
