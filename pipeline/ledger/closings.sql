-- When and by what did each filling, and each batch as a whole, end? closed_by: contaminated, emptied, refilled.
-- A batch-level event closes all its containers when its count is blank, or on the day the counts add up to them.
-- Grain: one row per filling (batch, container) or batch (container null) that ended.
create or replace table closings as
with containers as (
    select b.batch, coalesce(nullif(count(f.container), 0), min(b.containers_filled)) as containers
    from batches as b
    left join fillings as f on f.batch = b.batch
    group by b.batch
),
batch_events as (
    select
        o.batch,
        o.seen_on,
        o.event,
        o.cause,
        case when o.count is null then c.containers else o.count end as closes,
        o.count is null as whole,
        c.containers
    from observations as o
    inner join containers as c on c.batch = o.batch
    where o.container is null and o.event in ('contaminated', 'emptied')
),
cumulated as (
    select
        *,
        whole or coalesce(sum(closes) over (partition by batch order by seen_on) >= containers, false) as reached
    from batch_events
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
)
select batch, container, day as closed_on, event as closed_by, cause
from ends
qualify row_number() over (
    partition by batch, container
    order by day, case event when 'contaminated' then 0 when 'emptied' then 1 else 2 end, cause nulls last
) = 1
order by batch, container
