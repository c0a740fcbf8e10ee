-- Of which kind are the containers of each unit, in small letters? '' where it is not written, null where those of a batch
-- that is weighed as a whole differ.
-- Grain: one row per unit.
-- reads: filling_shares, stage_fillings, units, whole_units
-- writes: unit_kinds
create or replace temp table unit_kinds as
with of_whole as (
    select w.batch_line, lower(f.kind) as kind
    from whole_units as w
    left join filling_shares as s on s.batch_line = w.batch_line
    left join stage_fillings as f on f.line = s.line
)
select u.unit, coalesce(lower(f.kind), '') as kind
from units as u
inner join stage_fillings as f on f.line = u.unit
where not u.whole
union all
select batch_line, case when count(distinct coalesce(kind, '')) = 1 then coalesce(min(kind), '') end
from of_whole
group by batch_line
