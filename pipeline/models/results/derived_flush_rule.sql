-- By which rule were blank flush cells numbered, how sure is it, how many pickings are there of both kinds, and where does
-- the first blank cell stand (null: there is none)?
-- Grain: one row.
-- reads: files, flush_rule, harvest_assignments, resolved_harvests
-- writes: nothing
with counted as (
    select count(*) as pickings, count(*) filter (where derived) as pickings_derived from harvest_assignments
),
blank as (
    select
        arg_min(f.file, (f.file, row_of(h.line))) as file,
        arg_min(row_of(h.line), (f.file, row_of(h.line))) as row
    from resolved_harvests as h
    inner join files as f on f.file_part = file_part_of(h.line)
    where h.derived
)
select r.new_flush_after_days, r.source, r.gaps, r.gaps_unsure, r.wrong, c.pickings, c.pickings_derived, b.file, b.row
from flush_rule as r
cross join counted as c
cross join blank as b
