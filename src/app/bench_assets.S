/* The files of src/app/bench. */
    .include "src/app/asset_macro.S"

    .section .rodata
    asset bench_html, "src/app/bench/bench.html"
    asset bench_css, "src/app/bench/bench.css"
    asset common_js, "src/app/bench/common.js"
    asset bench_js, "src/app/bench/bench.js"
    asset archive_html, "src/app/bench/archive.html"
    asset archive_js, "src/app/bench/archive.js"
    asset setup_html, "src/app/bench/setup.html"
    asset setup_js, "src/app/bench/setup.js"
    asset worklist_js, "src/app/bench/worklist.js"
    asset calibrate_html, "src/app/bench/calibrate.html"
    asset calibrate_css, "src/app/bench/calibrate.css"
    asset calibrate_js, "src/app/bench/calibrate.js"
    asset icon_svg, "src/app/bench/icon.svg"

    .section .note.GNU-stack, "", %progbits
