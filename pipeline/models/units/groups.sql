-- The groups of units: those whose cells have the same values. Numbers come in the order of numbers, then texts. names:
-- what the values are called, by the first text in text order where several, like 20 and 20.0, have one value.
-- Grain: one row per group.
-- reads: unit_labels
-- writes: groups
create or replace temp table groups as
with labels as (
    select distinct keys, texts from unit_labels
),
keyed as (
    -- Numbers are quicker to join and to group than lists of texts.
    select row_number() over () as number, keys from (select distinct keys from labels)
),
called as (
    select nth, key, min(text) as name
    from (select generate_subscripts(keys, 1) as nth, unnest(keys) as key, unnest(texts) as text from labels)
    group by nth, key
),
named as (
    select k.number, list(c.name order by k.nth) as names
    from (select number, generate_subscripts(keys, 1) as nth, unnest(keys) as key from keyed) as k
    inner join called as c on c.nth = k.nth and c.key = k.key
    group by k.number
)
select
    row_number() over (
        order by list_transform(k.keys, lambda key: {'as_number': try_cast(key as double), 'as_text': key})
    ) as group_id,
    k.keys,
    coalesce(n.names, []::varchar[]) as names
from keyed as k
left join named as n on n.number = k.number
