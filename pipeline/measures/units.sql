-- What units are there at the as-of date? A unit is a filling; or the whole batch (container null), when any of its
-- pickings is pooled or it has no filling rows. Masses in g.
-- Grain: one row per unit.
create or replace temp table units as
with present as (
    select * from batches where inoculated_on is null or inoculated_on <= getvariable('as_of')
),
pooled as (
    select distinct batch from harvests where container is null and picked_on <= getvariable('as_of')
),
filled as (
    select batch, count(*) as fillings from fillings group by batch
),
whole as (
    select p.batch
    from present as p
    left join pooled on pooled.batch = p.batch
    left join filled on filled.batch = p.batch
    where pooled.batch is not null or filled.batch is null
),
filling_ends as (
    select batch, container, closed_on, closed_by, cause
    from closings
    where container is not null and closed_on <= getvariable('as_of')
),
all_ended as (
    -- A whole batch has ended when every one of its fillings has, by what ended the last of them.
    select
        f.batch,
        max(e.closed_on) as closed_on,
        arg_max(e.closed_by, (e.closed_on, case e.closed_by when 'contaminated' then 2 when 'emptied' then 1 else 0 end))
            as closed_by,
        max(e.cause) as cause
    from fillings as f
    left join filling_ends as e on e.batch = f.batch and e.container = f.container
    group by f.batch
    having count(*) = count(e.closed_on)
),
batch_ends as (
    select batch, closed_on, closed_by, cause
    from closings
    where container is null and closed_on <= getvariable('as_of')
),
listed as (
    select
        p.batch,
        null::varchar as container,
        p.inoculated_on,
        p.dry_g,
        case when p.dry_g is not null then 'batch' end as dry_source,
        (p.substrate_wet_kg * 1000)::decimal(28, 12) as wet_g,
        (p.spawn_kg * 1000)::decimal(28, 12) as spawn_g,
        case when b.closed_on <= coalesce(a.closed_on, b.closed_on) then b.closed_on else a.closed_on end as closed_on,
        case when b.closed_on <= coalesce(a.closed_on, b.closed_on) then b.closed_by else a.closed_by end as closed_by,
        case when b.closed_on <= coalesce(a.closed_on, b.closed_on) then b.cause else a.cause end as cause
    from present as p
    inner join whole as w on w.batch = p.batch
    left join batch_ends as b on b.batch = p.batch
    left join all_ended as a on a.batch = p.batch
    union all
    select
        f.batch,
        f.container,
        f.inoculated_on,
        f.dry_g,
        f.dry_source,
        f.wet_g,
        f.spawn_g,
        e.closed_on,
        e.closed_by,
        e.cause
    from fillings as f
    inner join present as p on p.batch = f.batch
    anti join whole as w on w.batch = f.batch
    left join filling_ends as e on e.batch = f.batch and e.container = f.container
)
select
    row_number() over (order by batch, container nulls first) as unit,
    batch,
    container,
    inoculated_on,
    dry_g,
    dry_source,
    wet_g,
    spawn_g,
    closed_on,
    closed_by,
    cause
from listed
