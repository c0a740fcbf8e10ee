-- What is promised, to whom, for which day, and how often again? Mass in g.
-- Grain: one row per loaded promise.
-- reads: promises
-- writes: nothing
select due_on, coalesce(buyer, '') as buyer, weight_g, coalesce(strain, '') as strain, coalesce(repeats, '') as repeats,
    until_on, file, row
from promises
order by due_on, file, row
