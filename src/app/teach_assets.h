/*
 * teach_assets.h - the files of src/app/teach as they are, put into the program by teach_assets.S. What
 * all pages of the program share (common.js, icon.svg) stands in bench_assets.h.
 */
#ifndef RIMGLOW_APP_TEACH_ASSETS_H
#define RIMGLOW_APP_TEACH_ASSETS_H

#include <stdint.h>

extern const uint8_t rg_asset_teach_css[], rg_asset_teach_js[], rg_asset_teach_html[];
extern const uint64_t rg_asset_teach_css_size, rg_asset_teach_js_size, rg_asset_teach_html_size;
extern const uint8_t rg_asset_try_html[], rg_asset_try_js[];
extern const uint64_t rg_asset_try_html_size, rg_asset_try_js_size;
extern const uint8_t rg_asset_sizes_html[], rg_asset_sizes_js[];
extern const uint64_t rg_asset_sizes_html_size, rg_asset_sizes_js_size;
extern const uint8_t rg_asset_vanish_html[], rg_asset_vanish_js[];
extern const uint64_t rg_asset_vanish_html_size, rg_asset_vanish_js_size;
extern const uint8_t rg_asset_lessons_html[], rg_asset_lessons_js[];
extern const uint64_t rg_asset_lessons_html_size, rg_asset_lessons_js_size;
extern const uint8_t rg_asset_quiz_html[], rg_asset_quiz_css[], rg_asset_quiz_js[];
extern const uint64_t rg_asset_quiz_html_size, rg_asset_quiz_css_size, rg_asset_quiz_js_size;
extern const uint8_t rg_asset_pairs_html[], rg_asset_pairs_js[], rg_asset_pairs_css[];
extern const uint64_t rg_asset_pairs_html_size, rg_asset_pairs_js_size, rg_asset_pairs_css_size;

#endif
