-- Which promises are over before $as_of: nothing is promised by them any more?
-- Grain: one row per such promise.
-- reads: promises
-- writes: nothing
select file, row, due_on::varchar as value
from promises
where case when repeats is null or until_on < due_on then due_on else until_on end < $as_of
order by file, row
