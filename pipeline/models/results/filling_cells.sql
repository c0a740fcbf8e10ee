-- What does each number of filling_codes stand for? By column of group_by a list of numbers, keys and texts, also of rows
-- that no unit has.
-- Grain: one row.
-- reads: stage_fillings
-- writes: nothing
with written as (
    select
    {filling cells listed of group_by}
    from stage_fillings as sf
)
select
    {filling dictionaries of group_by}
from written
