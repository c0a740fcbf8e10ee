-- What units are there at the as-of date? A unit is a filling; or the whole batch (container null), when any of its
-- pickings is pooled or it has no filling rows. Masses in g. unit: the line of its filling, or of its batch.
-- Grain: one row per unit.
-- reads: batches, closings, fillings, harvest_assignments
-- writes: units
create or replace temp table units as
with present as (
    select line, batch, inoculated_on, dry_g, substrate_wet_kg, spawn_kg
    from batches
    where inoculated_on is null or inoculated_on <= getvariable('as_of')
),
whole as (
    select line
    from present
    where line in (
            select batch_line from harvest_assignments where filling_line is null and picked_on <= getvariable('as_of')
        )
        or line not in (select batch_line from fillings)
),
ended as (
    select batch_line, filling_line, closed_on, closed_by, cause
    from closings
    where closed_on <= getvariable('as_of')
),
all_ended as (
    -- A whole batch has ended when every one of its fillings has, by what ended the last of them.
    select
        f.batch_line,
        max(e.closed_on) as closed_on,
        arg_max(e.closed_by, (e.closed_on, case e.closed_by when 'contaminated' then 2 when 'emptied' then 1 else 0 end))
            as closed_by,
        min(e.cause) filter (where e.closed_by = 'contaminated') as cause
    from fillings as f
    left join ended as e on e.filling_line = f.line
    where f.batch_line in (select line from whole)
    group by f.batch_line
    having count(*) = count(e.closed_on)
),
whole_ended as (
    -- At once or with the last of its fillings, whichever came first; on one day as in closings.sql: so the words sort.
    select batch_line, closed_on, closed_by, cause
    from (
        select batch_line, closed_on, closed_by, cause from ended where filling_line is null
        union all
        select batch_line, closed_on, closed_by, cause from all_ended
    )
    qualify row_number() over (partition by batch_line order by closed_on, closed_by, cause) = 1
)
select
    p.line as unit,
    p.line as batch_line,
    p.batch,
    null::varchar as container,
    p.inoculated_on,
    p.dry_g,
    case when p.dry_g is not null then 'batch' end as dry_source,
    try_cast(p.substrate_wet_kg * 1000 as decimal(18, 9)) as wet_g,
    try_cast(p.spawn_kg * 1000 as decimal(18, 9)) as spawn_g,
    e.closed_on,
    e.closed_by,
    e.cause
from present as p
inner join whole as w on w.line = p.line
left join whole_ended as e on e.batch_line = p.line
union all
select
    f.line,
    f.batch_line,
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
inner join present as p on p.line = f.batch_line
anti join whole as w on w.line = f.batch_line
left join ended as e on e.filling_line = f.line
