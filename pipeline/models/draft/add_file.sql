-- Notes a file of the farm.
-- Grain: one row.
-- reads: nothing
-- writes: files
insert into files
values ($table_name, $file, $file_part, $content_hash, $rows_in, $rows_blank, $status, $problem)
