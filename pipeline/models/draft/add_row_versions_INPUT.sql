-- Notes the rows of a file of INPUT from a line on, as they are on the stage at the moment, under a side.
-- Grain: one row per row of the file.
-- reads: cells_of_INPUT, stage_INPUT
-- writes: row_versions
insert into row_versions
select
    $side,
    'INPUT',
    $file,
    s.line,
    c.cells,
    hash(
    {stage columns of INPUT as s}
    ),
    {whose of INPUT as s}
from stage_INPUT as s
inner join cells_of_INPUT as c on c.line = s.line
where file_part_of(s.line) = $file_part
    and s.line >= $first_line
    -- Said of both sides, so that only the last rows are looked at.
    and c.line >= $first_line
