-- Which rows of BOOK repeat another in every cell? detail: the row that counts.
-- Grain: one row per such row.
-- reads: cells_of_BOOK, rows_of_BOOK
-- writes: repeats_of_BOOK
create or replace temp table repeats_of_BOOK as
with copies as (
    select
        s.line,
        row_number() over same as copy,
        first_value(s.file || ', row ' || s.row) over same as first_place
    from rows_of_BOOK as s
    inner join cells_of_BOOK as c on c.line = s.line
    where not s.faulty
    window same as (partition by c.cells order by s.file, s.row)
)
select line, first_place as detail
from copies
where copy > 1
