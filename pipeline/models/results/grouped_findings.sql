-- What was found in the rows, as listed_findings has it, but of a kind in a file with more than $most only the first
-- $shown: like_it says at the last of these how many more there are.
-- Grain: one row per finding that is shown.
-- reads: findings
-- writes: nothing
with numbered as (
    select *,
        count(*) over (partition by table_name, file, column_name, rule, level) as alike,
        row_number() over (partition by table_name, file, column_name, rule, level order by row) as turn
    from findings
)
select table_name, file, row, column_name, rule, level, value, detail, waits_file, waits_row,
    case when alike > $most and turn = $shown then alike - $shown else 0 end as like_it
from numbered
where alike <= $most or turn <= $shown
order by all
