-- What does each number of filling_codes stand for? By column of group_by a list of numbers, keys and texts.
-- Grain: one row.
-- reads: filling_labels
-- writes: nothing
select
    {filling dictionaries of group_by}
from filling_labels as l
