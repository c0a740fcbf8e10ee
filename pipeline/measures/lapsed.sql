-- Which units are treated as ended although nobody said so, since when, and which line would say it?
-- Grain: one row per lapsed unit.
select
    case when s.container is null then 'batches' else 'fillings' end as table_name,
    coalesce(f.file, b.file) as file,
    coalesce(f.row, b.row) as row,
    s.batch,
    s.container,
    s.last_picked,
    s.lapses_on
from unit_states as s
inner join batches as b on b.line = s.batch_line
left join fillings as f on f.line = s.unit
where s.lapsed
order by s.lapses_on, s.batch, s.container
