-- When and by what did each filling, and each batch as a whole, end? closed_by: contaminated, emptied, refilled.
-- A batch-level event closes all its containers when its count is blank, or on the day the counts add up to them.
-- Grain: one row per filling (batch, container) or batch (container null) that ended.
create or replace table closings as
with batch_events as (
    select batch, seen_on, event, cause, count
    from observations
    where container is null and event in ('contaminated', 'emptied')
),
containers as (
    select b.batch, coalesce(nullif(count(f.container), 0), min(b.containers_filled)) as containers
    from batches as b
    left join fillings as f on f.batch = b.batch
    where b.batch in (select batch from batch_events)
    group by b.batch
),
cumulated as (
    select
        e.batch,
        e.seen_on,
        e.event,
        e.cause,
        e.count is null
            or coalesce(sum(coalesce(e.count, c.containers)) over (partition by e.batch order by e.seen_on) >= c.containers, false)
            as reached
    from batch_events as e
    inner join containers as c on c.batch = e.batch
),
whole_batch as (
    select batch, seen_on as day, event, cause from cumulated where reached
),
ends as (
    select batch, container, seen_on as day, event, cause
    from observations
    where container is not null and event in ('contaminated', 'emptied')
    union all
    select f.batch, f.container, w.day, w.event, w.cause
    from fillings as f
    inner join whole_batch as w on w.batch = f.batch
    union all
    select batch, container, refilled_on, 'refilled', null
    from fillings
    where refilled_on is not null
    union all
    select batch, null, day, event, cause
    from whole_batch
),
first_ends as (
    -- Several ends on the first day: thrown out counts before emptied, emptied before filled anew.
    select
        batch,
        container,
        min(day) as closed_on,
        arg_min(event, (day, case event when 'contaminated' then 0 when 'emptied' then 1 else 2 end, coalesce(cause, '~')))
            as closed_by,
        arg_min(coalesce(cause, ''),
            (day, case event when 'contaminated' then 0 when 'emptied' then 1 else 2 end, coalesce(cause, '~'))) as cause
    from ends
    group by batch, container
)
select batch, container, closed_on, closed_by, nullif(cause, '') as cause
from first_ends
