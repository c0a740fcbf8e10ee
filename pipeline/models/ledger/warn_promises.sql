-- Which loaded promises end before they begin, or say until when and not how often?
-- Grain: one row per rule that a promise breaks.
-- reads: promises
-- writes: warn_promises
create or replace temp table warn_promises as
select line, case when repeats is null then 'ends_without_repeating' else 'ends_before_due' end as rule,
    until_on::varchar as value, due_on::varchar as detail
from promises
where until_on is not null and (repeats is null or until_on < due_on)
