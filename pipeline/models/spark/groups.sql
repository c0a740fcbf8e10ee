-- The groups of units, by site: what units/groups.sql says, which takes two lists apart at once, place by place. Numbers
-- come before texts. A text is a number where DuckDB sees one: Spark would see one in "2d" too.
-- Grain: one row per site and group.
-- reads: unit_labels
-- writes: groups
with labels as (
    select distinct site, keys, texts from unit_labels
),
keyed as (
    select distinct site, keys from labels
),
placed as (
    select site, keys, texts, explode(sequence(0, size(keys) - 1)) as nth from labels where size(keys) > 0
),
called as (
    select site, nth, keys[nth] as key, min(texts[nth]) as name from placed group by site, nth, keys[nth]
),
named as (
    select
        p.site,
        p.keys,
        transform(array_sort(collect_list(struct(p.nth, c.name))), each -> each.name) as names
    from (select distinct site, keys, nth from placed) as p
    inner join called as c on c.site = p.site and c.nth = p.nth and c.key = p.keys[p.nth]
    group by p.site, p.keys
)
select
    k.site,
    row_number() over (
        partition by k.site
        order by transform(
            k.keys,
            key -> struct(
                case
                    when key rlike '^ *[+-]?([0-9]+([.][0-9]*)?|[.][0-9]+)([eE][+-]?[0-9]+)? *$' then cast(key as double)
                    else cast('infinity' as double)
                end as as_number,
                key as as_text
            )
        )
    ) as group_id,
    k.keys,
    coalesce(n.names, array()) as names
from keyed as k
left join named as n on n.site = k.site and n.keys = k.keys
