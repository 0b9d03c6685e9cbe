/* The files of src/app/teach. */
    .include "src/app/asset_macro.S"

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
    asset lessons_html, "src/app/teach/lessons.html"
    asset lessons_js, "src/app/teach/lessons.js"
    asset quiz_html, "src/app/teach/quiz.html"
    asset quiz_css, "src/app/teach/quiz.css"
    asset quiz_js, "src/app/teach/quiz.js"
    asset pairs_html, "src/app/teach/pairs.html"
    asset pairs_js, "src/app/teach/pairs.js"
    asset pairs_css, "src/app/teach/pairs.css"

    .section .note.GNU-stack, "", %progbits
