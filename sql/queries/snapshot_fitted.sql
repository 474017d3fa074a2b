-- What is in service: pieces in place, and sets in place or on the shelf.
SELECT
    f.machine,
    f.line,
    f.place,
    f.position,
    f.part_type,
    f.duty_group,
    f.piece,
    f.kit,
    f.in_place,
    f.quantity,
    f.age::DOUBLE AS age,
    f.is_read AS read
FROM in_service AS f
ORDER BY
    f.machine, f.place, try_cast(f.position AS INTEGER), f.position, f.part_type, f.piece
