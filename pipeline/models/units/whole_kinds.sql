-- Of which kind are the containers of each batch that is weighed as a whole, in small letters? '' where it is not written,
-- null where they differ.
-- Grain: one row per unit that is a whole batch.
-- reads: fillings, whole_units
-- writes: whole_kinds
create or replace temp table whole_kinds as
select
    w.batch_line as unit,
    case when count(distinct coalesce(lower(f.kind), '')) = 1 then coalesce(min(lower(f.kind)), '') end as kind
from whole_units as w
left join fillings as f on f.batch_line = w.batch_line
group by w.batch_line
