-- Which batches of one recipe and one day name no soak, so that nobody said whether they came out of one?
-- Grain: one row per nameless soak of several batches, at the first of their rows.
-- reads: batches
-- writes: warn_soaks
create or replace temp table warn_soaks as
with nameless as (
    select
        soak_key,
        file,
        row,
        batch,
        inoculated_on,
        row_number() over (partition by soak_key order by file, row) as turn
    from batches
    where soak is null
)
select
    'batches' as table_name,
    min(file) filter (where turn = 1) as file,
    min(row) filter (where turn = 1) as row,
    'soak_not_named' as rule,
    null::varchar as value,
    string_agg(batch || ' (' || file || ', row ' || row || ')', ', ' order by turn) as detail,
    null::varchar as waits_file,
    null::integer as waits_row
from nameless
group by soak_key
having count(*) > 1
