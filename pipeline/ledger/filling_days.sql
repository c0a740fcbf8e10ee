-- When was each container filled, and with which row? Also rows that are set aside: an event of theirs must wait for
-- them, never fall to the filling before. A container filled twice on one day keeps the later batch by its name.
-- Grain: one row per container and day of filling; day null once per container whose filling has no known day.
create or replace table filling_days as
with dated as (
    select
        fate.container,
        parent.inoculated_on as day,
        fate.batch,
        fate.fate,
        coalesce(fate.waits_file, fate.file) as root_file,
        coalesce(fate.waits_row, fate.row) as root_row,
        parent.file as batch_file,
        parent.row as batch_row
    from filling_fates as fate
    left join batch_fates as parent on parent.batch = fate.batch and parent.rule is distinct from 'repeated'
    where fate.container is not null and fate.rule is distinct from 'repeated'
)
select
    container,
    day,
    batch,
    fate,
    -- A loaded filling without a day waits for its batch's row, where the day is missing.
    case when fate = 'loaded' and day is null then batch_file else root_file end as root_file,
    case when fate = 'loaded' and day is null then batch_row else root_row end as root_row
from dated
qualify row_number() over (
    partition by container, day
    order by batch desc nulls last, case fate when 'loaded' then 0 else 1 end, root_file, root_row
) = 1
order by container, day
