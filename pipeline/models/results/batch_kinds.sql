-- Which kinds of containers does each batch have, and in which row does it stand? kind: in small letters, '' where it is
-- not written or the batch has no fillings. A batch without the name of a soak is its own.
-- Grain: one row per loaded batch that was inoculated up to the as-of day, or at no known day, and kind of its containers.
-- reads: batches, filling_shares, stage_fillings
-- writes: nothing
with kinds as (
    select s.batch_line, coalesce(lower(f.kind), '') as kind, count(*) as containers
    from filling_shares as s
    inner join stage_fillings as f on f.line = s.line
    group by s.batch_line, coalesce(lower(f.kind), '')
),
named as (
    select
        line,
        batch,
        min(coalesce(soak, batch)) over (partition by soak_key) as soak,
        coalesce(strain, '') as strain,
        coalesce(substrate, '') as substrate,
        coalesce(treatment, '') as treatment,
        coalesce(spawn_form, '') as spawn_form,
        file,
        row
    from batches
    where inoculated_on is null or inoculated_on <= getvariable('as_of')
)
select
    b.batch,
    b.soak,
    b.strain,
    b.substrate,
    b.treatment,
    b.spawn_form,
    coalesce(k.kind, '') as kind,
    coalesce(k.containers, 0) as containers,
    b.file,
    b.row
from named as b
left join kinds as k on k.batch_line = b.line
order by b.batch, kind
