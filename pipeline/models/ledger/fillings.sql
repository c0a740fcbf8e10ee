-- The loaded fillings with all their cells. dry_source names the rung of the ladder: weighed, from fill, by fill, by
-- volume, evenly; null where there is no dry mass. Masses in kg as entered; *_g in g.
-- Grain: one row per loaded filling.
-- reads: batches, filling_shares, rows_of_fillings
-- writes: fillings
create or replace view fillings as
select
    {columns of fillings as f},
    s.inoculated_on,
    s.refilled_on,
    r.batch as refilled_from,
    s.dry_g,
    ['weighed', 'from fill', 'by fill', 'by volume', 'evenly'][s.rung] as dry_source,
    s.wet_g,
    s.spawn_g,
    f.file,
    f.row,
    s.line,
    s.batch_line
from filling_shares as s
inner join rows_of_fillings as f on f.line = s.line
left join batches as r on r.line = s.refilled_line
