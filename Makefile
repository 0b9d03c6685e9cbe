# rimglow - make help lists the targets.
#
# Nothing here assumes that compilers or libraries are installed when make
# starts: `make deps` installs them, and every target that builds is run by a
# second make, after that.

PREFIX  ?= /usr/local
DESTDIR ?=
comma   := ,
SHARE   = $(DESTDIR)$(PREFIX)/share
CC      ?= gcc
ifeq ($(origin CC),default)
CC      := gcc
endif
VARIANT ?= release
OUT     := build/$(VARIANT)
WERROR  ?=
V       ?=
# make V=1 shows the whole command lines.
SAY     := $(if $(V)$(findstring s,$(firstword -$(MAKEFLAGS))),@:,@printf '  %-5s %s\n')
Q       := $(if $(V),,@)

WARN    := -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Wstrict-prototypes \
           -Wmissing-prototypes -Wvla $(if $(WERROR),-Werror)
OPT     := -O3 -g1
SAN     :=
ifeq ($(VARIANT),asan)
OPT     := -O1 -g1 -fno-omit-frame-pointer
SAN     := -fsanitize=address,undefined -fno-sanitize-recover=undefined
endif
ifeq ($(VARIANT),tsan)
OPT     := -O1 -g -fno-omit-frame-pointer
SAN     := -fsanitize=thread
endif
# Criterion's runner does not start under ThreadSanitizer.
RUNNER  := $(if $(filter tsan,$(VARIANT)),$(OUT)/tests/threads/main.o)

# Debian packages: to build and run, and on top of them to check.
DEPS_BUILD := gcc libc6-dev pkg-config libjpeg62-turbo-dev libpng-dev libapriltag-dev \
              libgsl-dev libcairo2-dev libjansson-dev libinih-dev libsqlite3-dev libsodium-dev nettle-dev libv4l-dev libmicrohttpd-dev \
              fonts-dejavu-core
DEPS_CHECK := $(DEPS_BUILD) clang clang-format libcriterion-dev librsvg2-bin jq poppler-utils qpdf \
              sqlite3 curl

# Test programs are linked by the quicker linker of binutils, where it is there.
TEST_LD    := $(if $(shell command -v ld.gold 2>/dev/null),-fuse-ld=gold)

DEPS_FUZZ  := libclang-rt-14-dev
DEPS_DEB   := dpkg-dev debhelper fakeroot lintian xz-utils

PC_CORE := libpng gsl libsodium nettle
PC_EDGE := cairo jansson inih sqlite3 libv4l2 libmicrohttpd
# Asked when first needed, once for each make.
CORE_CFLAGS = $(eval CORE_CFLAGS := $$(shell pkg-config --cflags $(PC_CORE)))$(CORE_CFLAGS)
EDGE_CFLAGS = $(eval EDGE_CFLAGS := $$(shell pkg-config --cflags $(PC_EDGE)))$(EDGE_CFLAGS)
CORE_LIBS   = -lapriltag -ljpeg $(PKG_CORE) -lpthread -lm
EDGE_LIBS   = $(PKG_EDGE)
PKG_CORE    = $(eval PKG_CORE := $$(shell pkg-config --libs $(PC_CORE)))$(PKG_CORE)
PKG_EDGE    = $(eval PKG_EDGE := $$(shell pkg-config --libs $(PC_EDGE)))$(PKG_EDGE)

# No path of this machine enters what is built.
CFLAGS_ALL = -std=c17 -D_POSIX_C_SOURCE=200809L $(WARN) $(OPT) $(SAN) -Iinclude \
             -ffile-prefix-map=$(CURDIR)=. $(EXTRA_CFLAGS) $(CFLAGS)

CORE_DIRS := base pixels geometry measure setup
CORE_SRC  := $(sort $(wildcard $(CORE_DIRS:%=src/%/*.c)))
EDGE_SRC  := $(sort $(wildcard src/edge/*.c))
APP_SRC   := $(sort $(wildcard src/app/*.c))
CORE_OBJ  := $(CORE_SRC:%.c=$(OUT)/%.o)
EDGE_OBJ  := $(EDGE_SRC:%.c=$(OUT)/%.o)
APP_OBJ   := $(APP_SRC:%.c=$(OUT)/%.o) $(OUT)/src/app/bench_assets.o $(OUT)/src/app/teach_assets.o
MAIN_OBJ  := $(OUT)/src/main.o
CORE_LIB  := $(OUT)/librimglow-core.a
EDGE_LIB  := $(OUT)/librimglow-edge.a
APP_LIB   := $(OUT)/librimglow-app.a
PROGRAM   := $(OUT)/rimglow

# Tests: core tests link the core library and nothing above it.
CORE_TEST_SRC := $(sort $(wildcard $(CORE_DIRS:%=tests/%/test_*.c)))
UP_TEST_SRC   := $(sort $(wildcard tests/edge/test_*.c tests/app/test_*.c))
SUPPORT_OBJ   := $(patsubst %.c,$(OUT)/%.o,$(sort $(wildcard tests/support/*.c)))
CORE_TESTS    := $(CORE_TEST_SRC:%.c=$(OUT)/%)
UP_TESTS      := $(UP_TEST_SRC:%.c=$(OUT)/%)
TESTS         := $(CORE_TESTS) $(UP_TESTS)
FUZZ_SRC      := $(sort $(wildcard tests/fuzz/fuzz_*.c))
FUZZ_REPLAY   := $(FUZZ_SRC:%.c=$(OUT)/%)
TOOL_SRC      := $(sort $(wildcard tests/tools/*.c))
TOOLS         := $(TOOL_SRC:%.c=$(OUT)/%)
FAULTS        := $(OUT)/tests/shim/faults.so
FAULT_SRC     := tests/shim/faults.c tests/shim/disk.c
SHIMS         := $(FAULTS) $(patsubst %.c,$(OUT)/%.so,$(sort $(filter-out $(FAULT_SRC),$(wildcard tests/shim/*.c))))
# Our own code's allocations go through tests/shim/alloc.c there.
WRAP_MEMORY   := $(patsubst %,-Wl$(comma)--wrap=%,malloc calloc realloc reallocarray aligned_alloc posix_memalign strdup strndup)
PROOF_OBJ     := $(patsubst %.c,$(OUT)/%.o,$(sort $(wildcard tests/tools/proof/*.c)))

.DEFAULT_GOAL := all
.PHONY: all help deps deps-check demo check check-browser build tests tools run-tests check-layers \
        check-headers check-format check-clang check-prove prove check-kernel check-compilers check-cli check-crash \
        check-threads threads analyze \
        check-fuzz sanitize bench bench-live bench-opencv accuracy manual install uninstall deb \
        format fuzz clean

all: build ## build the program into build/release (libraries must be there: make deps)

help: ## show this list
	@grep -hE '^[a-z-]+:.*##' Makefile | sed -E 's/:[^#]*## */\t/' | expand -t 18

# ---------------------------------------------------------------- set-up
define install_missing
@missing=""; for p in $(1); do \
  dpkg-query -W -f='$${Status}' $$p 2>/dev/null | grep -q '^install ok installed' || missing="$$missing $$p"; done; \
if [ -n "$$missing" ]; then \
  echo "installing Debian packages:$$missing"; \
  if [ "$$(id -u)" = 0 ]; then run=""; elif command -v sudo >/dev/null 2>&1; then run="sudo"; \
  else echo "not root and no sudo here: ask an administrator to run: apt-get install$$missing"; exit 1; fi; \
  $$run apt-get update -qq && DEBIAN_FRONTEND=noninteractive $$run apt-get install -y -qq --no-install-recommends $$missing >/dev/null; \
fi
endef

deps: ## install what is missing to build and run (apt, with sudo where not root)
	$(call install_missing,$(DEPS_BUILD))

deps-check: ## install what is missing to run every test
	$(call install_missing,$(DEPS_CHECK))

demo: deps ## install, build, inspect the sample instrument, show the result
	@$(MAKE) --no-print-directory build
	@sh samples/demo.sh build/release/rimglow
	@rm -rf build/demo/workshop
	@sh samples/workshop.sh build/release/rimglow build/demo/workshop

check: deps-check ## install, build, run every test
	@sh tests/check.sh

# ---------------------------------------------------------------- build
build: $(PROGRAM)

tests: $(TESTS) $(FUZZ_REPLAY) $(TOOLS) $(SHIMS)

tools: $(TOOLS) $(SHIMS)

$(PROGRAM): $(MAIN_OBJ) $(APP_LIB) $(EDGE_LIB) $(CORE_LIB)
	$(SAY) LINK $@
	$(Q)$(CC) $(SAN) $(LDFLAGS) -o $@ $^ $(EDGE_LIBS) $(CORE_LIBS)

$(CORE_LIB): $(CORE_OBJ)
$(EDGE_LIB): $(EDGE_OBJ)
$(APP_LIB): $(APP_OBJ)
$(OUT)/lib%.a:
	@rm -f $@
	$(SAY) AR $@
	$(Q)ar rcs $@ $^

$(OUT)/src/%.o: src/%.c
	@mkdir -p $(@D)
	$(SAY) CC $<
	$(Q)$(CC) $(CFLAGS_ALL) $(CORE_CFLAGS) $(EDGE_CFLAGS) -MMD -MP -c -o $@ $<

# The pages' files, byte for byte.
$(OUT)/src/app/%_assets.o: src/app/%_assets.S src/app/asset_macro.S $(wildcard src/app/bench/* src/app/teach/*)
	@mkdir -p $(@D)
	$(SAY) AS $<
	$(Q)$(CC) -c -o $@ $<

$(OUT)/tests/%.o: tests/%.c
	@mkdir -p $(@D)
	$(SAY) CC $<
	$(Q)$(CC) $(CFLAGS_ALL) $(CORE_CFLAGS) $(EDGE_CFLAGS) -Itests -MMD -MP -c -o $@ $<

$(CORE_TESTS): $(OUT)/tests/%: $(OUT)/tests/%.o $(RUNNER) $(SUPPORT_OBJ) $(CORE_LIB)
	$(SAY) LINK $@
	$(Q)$(CC) $(SAN) $(TEST_LD) $(LDFLAGS) -o $@ $^ $(CORE_LIBS) -lcriterion

# A camera that does not exist: linked into its test, or preloaded.
$(OUT)/tests/edge/test_capture $(OUT)/tests/app/test_live_camera: $(OUT)/tests/shim/v4l2.o
ifeq ($(VARIANT),tsan)
# Its calls come before ThreadSanitizer is ready.
$(OUT)/tests/shim/v4l2.o: SAN :=
endif
# Never sanitized: a program under ASan takes it with ASAN_OPTIONS=verify_asan_link_order=0.
$(OUT)/tests/shim/%.so: tests/shim/%.c $(wildcard tests/shim/*.h)
	@mkdir -p $(@D)
	$(SAY) LINK $@
	$(Q)$(CC) $(filter-out $(SAN),$(CFLAGS_ALL)) -Itests -fPIC -shared $(LDFLAGS) -o $@ $< -lpthread

$(UP_TESTS): $(OUT)/tests/%: $(OUT)/tests/%.o $(RUNNER) $(SUPPORT_OBJ) $(APP_LIB) $(EDGE_LIB) $(CORE_LIB)
	$(SAY) LINK $@
	$(Q)$(CC) $(SAN) $(TEST_LD) $(LDFLAGS) -o $@ $^ $(EDGE_LIBS) $(CORE_LIBS) -lcriterion

$(FUZZ_REPLAY): $(OUT)/tests/%: $(OUT)/tests/%.o $(OUT)/tests/fuzz/replay.o $(APP_LIB) $(EDGE_LIB) $(CORE_LIB)
	$(SAY) LINK $@
	$(Q)$(CC) $(SAN) $(TEST_LD) $(LDFLAGS) -o $@ $^ $(EDGE_LIBS) $(CORE_LIBS)

$(TOOLS): $(OUT)/tests/%: $(OUT)/tests/%.o $(SUPPORT_OBJ) $(APP_LIB) $(EDGE_LIB) $(CORE_LIB)
	$(SAY) LINK $@
	$(Q)$(CC) $(SAN) $(TEST_LD) $(LDFLAGS) -o $@ $(filter %.o,$^) $(filter %.a,$^) $(EDGE_LIBS) $(CORE_LIBS)

$(OUT)/tests/tools/prove: $(PROOF_OBJ)
$(OUT)/tests/tools/starved: LDFLAGS += $(WRAP_MEMORY)

# For bench-opencv alone: nothing of the program needs OpenCV or C++.
build/speed/opencv: tests/speed/opencv.cpp
	@mkdir -p $(@D)
	$(SAY) C++ $<
	$(Q)g++ -std=c++17 -O3 -Wall -Wextra $$(pkg-config --cflags opencv4) -o $@ $< -lopencv_aruco -lopencv_calib3d \
	  -lopencv_imgcodecs -lopencv_imgproc -lopencv_core -lpthread

# Failing disks, for LD_PRELOAD in tests; never instrumented, so that any program can load it.
$(FAULTS): $(FAULT_SRC) $(wildcard tests/shim/*.h)
	@mkdir -p $(@D)
	$(SAY) LINK $@
	$(Q)$(CC) -std=c17 $(WARN) -O2 -g -fPIC -shared -o $@ $(FAULT_SRC) -lpthread

# What runs inside the guest of check-kernel.
$(OUT)/tests/kernel/probe: $(OUT)/tests/kernel/probe.o $(EDGE_LIB) $(CORE_LIB)
	$(SAY) LINK $@
	$(Q)$(CC) $(SAN) $(LDFLAGS) -Wl,--as-needed -o $@ $^ $(EDGE_LIBS) $(CORE_LIBS)
$(OUT)/tests/kernel/usb_camera: tests/kernel/usb_camera.c
	@mkdir -p $(@D)
	$(SAY) LINK $@
	$(Q)$(CC) $(CFLAGS_ALL) -static -o $@ $<

.SECONDARY:
-include $(CORE_OBJ:.o=.d) $(EDGE_OBJ:.o=.d) $(APP_OBJ:.o=.d) $(MAIN_OBJ:.o=.d)
-include $(wildcard $(OUT)/tests/*/*.d) $(PROOF_OBJ:.o=.d)

# ---------------------------------------------------------------- checks
run-tests: tests build ## run the unit tests of this VARIANT
	@sh tests/units.sh "$(TEST_ARGS)" $(TESTS)

check-browser: build tools ## the bench page in a browser, by keyboard (needs chromium, node, npm)
	@RIMGLOW=$(PROGRAM) sh tests/browser/run.sh
	@RIMGLOW=$(PROGRAM) TOOLS=$(OUT)/tests/tools sh tests/browser/calibrate.sh
	@RIMGLOW=$(PROGRAM) sh tests/browser/teach.sh
	@RIMGLOW=$(PROGRAM) sh tests/browser/quiz.sh
	@RIMGLOW=$(PROGRAM) sh tests/browser/pairs.sh

check-fuzz: tests ## replay the fuzz corpora through every parser
	@fail=0; for t in $(FUZZ_REPLAY); do $$t tests/fuzz/corpus/$$(basename $$t) || fail=1; done; exit $$fail

check-cli: build tools ## end-to-end tests of the command line
	@RIMGLOW=$(PROGRAM) TOOLS=$(OUT)/tests/tools sh tests/cli/run.sh

THREAD_TESTS := $(filter-out %/test_lab,$(patsubst %.c,$(OUT)/%,$(shell grep -lE 'pool|pthread|rimglow/(live|feed|server|render|lessons|lab)\.h' tests/app/test_*.c)))
# test_lab alone draws for minutes here; the teaching pages' cases run the same threads.
check-threads: ## ThreadSanitizer over unit tests, commands and pages that run threads (some minutes)
	@$(MAKE) --no-print-directory -s threads VARIANT=tsan
threads: build tools $(THREAD_TESTS)
	@RIMGLOW=$(PROGRAM) TOOLS=$(OUT)/tests/tools sh tests/threads/run.sh $(THREAD_TESTS)

analyze: ## static analysis: clang-tidy, cppcheck, gcc -fanalyzer (installs the first two; some minutes)
	$(call install_missing,$(DEPS_BUILD) clang-tidy cppcheck)
	@sh tests/analyze/run.sh $(FILES)

check-crash: build tools ## every crash, power cut, disk error, interruption and failing allocation, at every call (long)
	@RIMGLOW_POINTS=all RIMGLOW=$(PROGRAM) TOOLS=$(OUT)/tests/tools sh tests/cli/run.sh 'crash\|power_cut\|failing_disk\|without_memory\|libraries_report\|an_interrupted_\|unreadable'

check-layers: ## includes go only downwards
	@sh tests/check_layers.sh

check-headers: ## every public header compiles alone
	@printf '%s\n' include/rimglow/*.h | xargs -P $$(nproc) -n 1 sh -c '\
	  printf "#include \"rimglow/%s\"\nint rg_alone(void);\nint rg_alone(void) { return 0; }\n" $$(basename $$0) | \
	  $(CC) $(CFLAGS_ALL) -Werror -x c -fsyntax-only - || { echo "$$0 does not compile alone"; exit 1; }' \
	&& echo "check-headers: every header compiles alone"

check-format: ## .clang-format is applied
	@clang-format --dry-run -Werror $$(find src include tests -name '*.[ch]') && echo "check-format: formatted"

check-compilers: ## gcc builds everything without a warning, clang reads everything without one
	@$(MAKE) --no-print-directory -s build tests CC=gcc WERROR=1
	@$(MAKE) --no-print-directory -s check-clang CC=clang WERROR=1
	@echo "check-compilers: gcc and clang agree"

# The warnings that are asked for come from clang's front end; no code has to be made for them.
check-clang:
	@printf '%s\n' src/*.c src/*/*.c tests/*/*.c tests/tools/proof/*.c | \
	  xargs -P $$(nproc) -n 8 clang $(filter-out -g1,$(CFLAGS_ALL)) $(CORE_CFLAGS) $(EDGE_CFLAGS) -Itests -fsyntax-only

sanitize: ## unit tests, fuzz replay and the whole command line under ASan and UBSan (an hour; make check takes a part)
	@$(MAKE) --no-print-directory run-tests check-fuzz check-cli VARIANT=asan

bench: ## time per stage, as ratios to a full JPEG decode in the same run
	@$(MAKE) --no-print-directory -s build tools
	@build/release/tests/tools/bench
	@build/release/tests/tools/archive_bench
	@build/release/tests/tools/add_bench
	@build/release/tests/tools/live_load --brief
	@build/release/tests/tools/lab_bench
	@$(MAKE) --no-print-directory -s bench-opencv

bench-opencv: ## the same job by a plain OpenCV program, as a ratio (installs libopencv-dev and g++)
	$(call install_missing,g++ libopencv-dev)
	@$(MAKE) --no-print-directory -s build/speed/opencv build/release/tests/tools/speed
	@build/release/tests/tools/speed build/speed/opencv samples/truth/08-G.json
	@build/release/tests/tools/speed build/speed/opencv samples/truth/05-B.json

bench-live: ## the bench under load: ten minutes at 60 frames a second, then 8 hours' frames as fast as they pass
	@$(MAKE) --no-print-directory -s build tools
	@build/release/tests/tools/live_load --seconds 600 --sweep 20
	@build/release/tests/tools/live_load --frames 1728000

accuracy: ## truth against measured on the sample sweeps, the renderer against them, and synthetic pads
	@$(MAKE) --no-print-directory -s build tools
	@build/release/tests/tools/accuracy samples/truth
	@build/release/tests/tools/prove traced
	@build/release/tests/tools/diagnose_population

prove: ## uncertainties and detection figures proved by sampling, about an hour of one core
	@$(MAKE) --no-print-directory -s build tools
	@build/release/tests/tools/prove all

check-kernel: ## capture against Debian's kernel in qemu: uvcvideo with a camera of ours, vivid
	@$(MAKE) --no-print-directory -s build/release/tests/kernel/probe build/release/tests/kernel/usb_camera
	@sh tests/kernel/run.sh build/release/tests/kernel

check-prove: ## the same with small numbers, one or two minutes
	@$(MAKE) --no-print-directory -s build tools
	@build/release/tests/tools/prove check

fuzz: ## libFuzzer for SECONDS=60 each (clang)
	$(call install_missing,$(DEPS_CHECK) $(DEPS_FUZZ))
	@sh tests/fuzz/run.sh

format: ## apply .clang-format
	clang-format -i $$(find src include tests -name '*.[ch]')

# ---------------------------------------------------------------- install
manual: build ## manual pages and completion, from the help texts
	@rm -rf $(OUT)/manual
	@sh src/package/manual.sh $(PROGRAM) $(OUT)/manual
	@sh src/package/completion.sh $(PROGRAM) >$(OUT)/rimglow.bash

install: manual ## install into $(DESTDIR)$(PREFIX)
	install -d $(DESTDIR)$(PREFIX)/bin $(SHARE)/rimglow/calib $(SHARE)/doc/rimglow $(SHARE)/man/man1 \
	  $(SHARE)/bash-completion/completions
	install -m 755 $(PROGRAM) $(DESTDIR)$(PREFIX)/bin/rimglow
	install -m 644 calib/*.ini calib/README.md $(SHARE)/rimglow/calib
	install -m 644 README.md LICENSE $(SHARE)/doc/rimglow
	install -m 644 $(OUT)/manual/*.1 $(SHARE)/man/man1
	install -m 644 $(OUT)/rimglow.bash $(SHARE)/bash-completion/completions/rimglow

uninstall: ## remove what install put there
	rm -rf $(DESTDIR)$(PREFIX)/bin/rimglow $(SHARE)/rimglow $(SHARE)/doc/rimglow \
	  $(SHARE)/man/man1/rimglow.1 $(SHARE)/man/man1/rimglow-*.1 $(SHARE)/bash-completion/completions/rimglow

deb: ## Debian source and binary package, built and looked over, into build/deb
	$(call install_missing,$(DEPS_CHECK) $(DEPS_DEB))
	@sh src/package/deb.sh

clean: ## remove build/
	rm -rf build
