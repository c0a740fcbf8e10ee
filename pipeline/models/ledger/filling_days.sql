-- When was each container filled, and with which row? Also rows that are set aside: an event of theirs must wait for
-- them, never fall to the filling before. A container filled twice on one day keeps the later batch by its name.
-- Grain: one row per container and day of filling; day null once per container whose filling has no known day.
-- reads: batch_faults, batches, filling_faults, loaded_fillings, stage_batches
-- writes: filling_days
create or replace temp table filling_days as
with faulty as (
    select
        q.container,
        b.inoculated_on as day,
        q.batch,
        coalesce(q.waits_file, q.file) as root_file,
        coalesce(q.waits_row, q.row) as root_row
    from filling_faults as q
    left join stage_batches as b on b.batch = q.batch
        and b.line not in (select line from batch_faults where rule = 'repeated')
    where q.container is not null and q.rule is distinct from 'repeated'
),
undated as (
    -- A loaded filling without a day waits for its batch's row, where the day is missing.
    select f.container, null::date as day, f.batch, b.file as root_file, b.row as root_row, f.batch_line
    from loaded_fillings as f
    inner join batches as b on b.line = f.batch_line
    where f.inoculated_on is null
),
listed as (
    select container, inoculated_on as day, batch, line, batch_line, null::varchar as root_file, null::integer as root_row
    from loaded_fillings
    where inoculated_on is not null
    union all
    select container, day, batch, null, null, root_file, root_row from faulty
    union all
    select container, day, batch, null, batch_line, root_file, root_row from undated
),
contested as (
    select container, day from listed group by container, day having count(*) > 1
)
select l.container, l.day, l.batch, l.line, l.batch_line, l.root_file, l.root_row
from listed as l
anti join contested as c on c.container = l.container and c.day is not distinct from l.day
union all
select l.container, l.day, l.batch, l.line, l.batch_line, l.root_file, l.root_row
from listed as l
inner join contested as c on c.container = l.container and c.day is not distinct from l.day
qualify row_number() over (
    partition by l.container, l.day
    order by l.batch desc nulls last, l.line nulls last, l.root_file, l.root_row
) = 1
