-- Which loaded pickings and observations have the entry of another? Few are suspects, and only they are looked up among
-- the loaded ones.
-- Grain: one row per such picking or observation.
-- reads: files, harvest_assignments, observation_assignments, stage_harvests, stage_observations
-- writes: warn_entries
create or replace temp table warn_entries as
with staged_twice as (
    select 'harvests' as table_name, entry from stage_harvests where entry is not null group by entry having count(*) > 1
    union all
    select 'observations', entry from stage_observations where entry is not null group by entry having count(*) > 1
),
suspects as materialized (
    select 'harvests' as table_name, line, entry
    from stage_harvests
    where entry in (select entry from staged_twice where table_name = 'harvests')
    union all
    select 'observations', line, entry
    from stage_observations
    where entry in (select entry from staged_twice where table_name = 'observations')
),
entries as (
    select e.table_name, e.line, e.entry
    from harvest_assignments as a
    inner join suspects as e on e.line = a.line and e.table_name = 'harvests'
    union all
    select e.table_name, e.line, e.entry
    from observation_assignments as a
    inner join suspects as e on e.line = a.line and e.table_name = 'observations'
),
doubled_entries as (
    select table_name, entry from entries group by table_name, entry having count(*) > 1
),
numbered_entries as (
    select e.table_name, e.entry, f.file, row_of(e.line) as row
    from entries as e
    inner join doubled_entries as d on d.table_name = e.table_name and d.entry = e.entry
    inner join files as f on f.file_part = file_part_of(e.line)
),
twice as (
    select table_name, entry, some_of(list(file || ', row ' || row order by file, row)) as rows_alike
    from numbered_entries
    group by table_name, entry
)
select e.table_name, e.file, e.row, 'entry_twice' as rule, e.entry as value, t.rows_alike as detail
from numbered_entries as e
inner join twice as t on t.table_name = e.table_name and t.entry = e.entry
