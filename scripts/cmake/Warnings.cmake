# One interface target carries warnings and instrumentation to every target of ours.
add_library(sm_flags INTERFACE)
target_compile_options(sm_flags INTERFACE
  -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wdouble-promotion -Wformat=2 -Wstrict-prototypes
  -Wmissing-prototypes -Wundef -Wvla -Wswitch-enum
  $<$<BOOL:${SM_WERROR}>:-Werror>)
target_compile_definitions(sm_flags INTERFACE _POSIX_C_SOURCE=200809L _XOPEN_SOURCE=700)
if(SM_SANITIZE)
  target_compile_options(sm_flags INTERFACE -fsanitize=address,undefined -fno-sanitize-recover=undefined -fno-omit-frame-pointer)
  target_link_options(sm_flags INTERFACE -fsanitize=address,undefined)
endif()
if(SM_SANITIZE_THREADS)
  target_compile_options(sm_flags INTERFACE -fsanitize=thread -fno-omit-frame-pointer)
  target_link_options(sm_flags INTERFACE -fsanitize=thread)
endif()
if(SM_COVERAGE)
  target_compile_options(sm_flags INTERFACE --coverage -O0 -fprofile-update=atomic) # counts of threads
  target_link_options(sm_flags INTERFACE --coverage)
endif()
if(SM_FUZZ)
  target_compile_options(sm_flags INTERFACE -fsanitize=fuzzer-no-link)
  target_link_options(sm_flags INTERFACE -fsanitize=fuzzer-no-link)
endif()
