-- Notes the rows of a file of INPUT, as they are on the stage at the moment, under a side.
-- Grain: one row per row of the file.
-- reads: stage_INPUT
-- writes: row_versions
insert into row_versions
select
    $side,
    'INPUT',
    s.line,
    hash(
    {stage columns of INPUT as s}
    ),
    {whose of INPUT as s}
from stage_INPUT as s
where file_part_of(s.line) = $file_part
