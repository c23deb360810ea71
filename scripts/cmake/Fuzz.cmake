# sm_fuzz_target(NAME SOURCES f... [NEEDS stage...] [USES lib...] [INSIDE stage...] [DEFINES d...])
#   SOURCES hold LLVMFuzzerTestOneInput(). Always builds NAME_replay, which runs every file of fixtures/fuzz/NAME/ as a
#   ctest under whatever compiler and sanitizers are on; with SM_FUZZ (clang) also NAME itself, a libFuzzer program:
#   build/fuzz/bin/NAME SCRATCH-DIR fixtures/fuzz/NAME (it writes what it finds into the first folder).
#   INSIDE: stages whose internal header the target reads.
function(sm_fuzz_target name)
  cmake_parse_arguments(F "" "" "SOURCES;NEEDS;USES;INSIDE;DEFINES" ${ARGN})
  set(programs ${name}_replay)
  sm_program(${name}_replay SOURCES ${F_SOURCES} ${PROJECT_SOURCE_DIR}/tests/fuzz/replay.c NEEDS ${F_NEEDS} USES ${F_USES})
  add_test(NAME ${name}_replay COMMAND ${name}_replay ${PROJECT_SOURCE_DIR}/fixtures/fuzz/${name})
  set_tests_properties(${name}_replay PROPERTIES TIMEOUT 120 LABELS fuzz ENVIRONMENT "LC_ALL=C;TZ=UTC")
  if(SM_FUZZ)
    sm_program(${name} SOURCES ${F_SOURCES} NEEDS ${F_NEEDS} USES ${F_USES})
    target_link_options(${name} PRIVATE -fsanitize=fuzzer)
    list(APPEND programs ${name})
  endif()
  foreach(program IN LISTS programs)
    target_compile_definitions(${program} PRIVATE ${F_DEFINES})
    foreach(stage IN LISTS F_INSIDE)
      target_include_directories(${program} PRIVATE ${PROJECT_SOURCE_DIR}/src/${stage})
    endforeach()
  endforeach()
endfunction()
