-- Of which kind are the containers of each unit, in small letters? '' where it is not written, null where those of a batch
-- that is weighed as a whole differ.
-- Grain: one row per unit.
-- reads: fillings, units
-- writes: unit_kinds
create or replace temp table unit_kinds as
with kinds as (
    select line as unit, lower(kind) as kind from fillings
    union all
    select f.batch_line, lower(f.kind)
    from fillings as f
    inner join units as u on u.unit = f.batch_line and u.whole
)
select u.unit, case when count(distinct coalesce(k.kind, '')) = 1 then coalesce(min(k.kind), '') end as kind
from units as u
left join kinds as k on k.unit = u.unit
group by u.unit
