-- Notes the rows of a file of INPUT, as they are on the stage at the moment, under a side.
-- Grain: one row per distinct row of the file.
-- reads: cells_of_INPUT
-- writes: moved_cells
insert into moved_cells
select $side, 'INPUT', $file, c.cells, count(*)
from cells_of_INPUT as c
where file_part_of(c.line) = $file_part
group by c.cells
