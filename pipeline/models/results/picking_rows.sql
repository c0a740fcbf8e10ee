-- In which rows do the pickings of the month's batches stand? Fresh mass in g. container: '' for a batch weighed together.
-- Grain: one row per loaded picking, up to the as-of day, of a batch that was running on any day of the month.
-- reads: batches, files, harvest_assignments, running_batches, stage_fillings
-- writes: nothing
select
    b.batch,
    coalesce(f.container, '') as container,
    p.picked_on,
    p.fresh_weight_g::double as fresh_g,
    r.file,
    row_of(p.line) as row
from harvest_assignments as p
inner join batches as b on b.line = p.batch_line
inner join files as r on r.file_part = file_part_of(p.line)
left join stage_fillings as f on f.line = p.filling_line
where p.picked_on <= getvariable('as_of') and p.batch_line in (select batch_line from running_batches)
order by b.batch, p.picked_on, r.file, row
