-- Of which kind are the containers of each unit, in small letters? null where it is not written, or where those of a batch
-- that is weighed as a whole differ.
-- Grain: one row per unit.
-- reads: fillings, units
-- writes: unit_kinds
create or replace temp table unit_kinds as
select
    u.unit,
    case when count(distinct coalesce(lower(f.kind), '')) = 1 then min(lower(f.kind)) end as kind
from units as u
left join fillings as f on f.line = u.unit or (u.container is null and f.batch_line = u.unit)
group by u.unit
