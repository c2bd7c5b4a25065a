/* The table as it was made, 6 numbers of 16 bits for each sample. */
    .section .rodata
    .balign 4
    .global table_begin, table_end
table_begin:
    .incbin "table.bin"
table_end:
