-- Puts the fillings that the part needs on its stage, in memory: those of its batches and containers, and the changed ones.
-- Grain: one row per row.
-- reads: changed_rows, part_batches, part_containers, stage_fillings
-- writes: stage_fillings
insert into memory.stage_fillings
select
    {stage columns of fillings as s}
from draft.stage_fillings as s
where s.batch in (select batch from part_batches)
    or s.container in (select container from part_containers)
    or s.line in (select line from changed_rows where table_name = 'fillings')
