-- What did the containers of each written place give so far, and how many of them were lost? Masses in g. What was weighed
-- for a whole batch together is of no place.
-- Grain: one row per room and position that a filling has.
-- reads: fillings, unit_states
-- writes: nothing
select
    coalesce(f.room, '') as room,
    f.position,
    count(*) as units,
    count(*) filter (where not s.finished) as units_running,
    count(*) filter (where s.finished and s.highest_flush = 0) as lost,
    sum(s.fresh_g)::double as fresh_g,
    100 * nullif(sum(s.fresh_g) filter (where s.finished and s.dry_g is not null), 0)::double
        / nullif(sum(s.dry_g) filter (where s.finished)::double, 0) as be_pct
from unit_states as s
inner join fillings as f on f.line = s.unit
where f.position is not null
group by coalesce(f.room, ''), f.position
order by room, f.position
