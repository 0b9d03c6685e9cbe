/* The files of src/app/teach, byte for byte, as in bench_assets.S. */
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

    .section .rodata
    asset teach_html, "src/app/teach/teach.html"
    asset teach_css, "src/app/teach/teach.css"
    asset teach_js, "src/app/teach/teach.js"
    asset try_html, "src/app/teach/try.html"
    asset try_js, "src/app/teach/try.js"
    asset sizes_html, "src/app/teach/sizes.html"
    asset sizes_js, "src/app/teach/sizes.js"
    asset vanish_html, "src/app/teach/vanish.html"
    asset vanish_js, "src/app/teach/vanish.js"

    .section .note.GNU-stack, "", %progbits
