/* asset NAME, FILE: a file byte for byte; no tool beyond the assembler is needed. */
.macro asset name, file
    .globl rg_asset_\name
    .globl rg_asset_\name\()_size
    .balign 8
rg_asset_\name:
    .incbin "\file"
1:
    .byte 0
    .balign 8
rg_asset_\name\()_size:
    .quad 1b - rg_asset_\name
.endm
