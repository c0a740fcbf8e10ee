-- Which kinds of containers does each batch have, and in which row does it stand? kind: in small letters, '' where it is
-- not written or the batch has no fillings. A batch without the name of a soak is its own.
-- Grain: one row per loaded batch that was inoculated up to the as-of day, or at no known day, and kind of its containers.
-- reads: batches, fillings
-- writes: nothing
select
    b.batch,
    min(coalesce(b.soak, b.batch)) over (partition by b.soak_key) as soak,
    coalesce(b.strain, '') as strain,
    coalesce(b.substrate, '') as substrate,
    coalesce(b.treatment, '') as treatment,
    coalesce(b.spawn_form, '') as spawn_form,
    coalesce(lower(f.kind), '') as kind,
    count(f.line) as containers,
    b.file,
    b.row
from batches as b
left join fillings as f on f.batch_line = b.line
where b.inoculated_on is null or b.inoculated_on <= getvariable('as_of')
group by b.line, b.batch, b.soak, b.soak_key, b.strain, b.substrate, b.treatment, b.spawn_form, coalesce(lower(f.kind), ''), b.file, b.row
order by b.batch, kind
