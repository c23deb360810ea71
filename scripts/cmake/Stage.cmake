# sm_stage(NAME SOURCES f... [NEEDS stage...] [USES lib...])
#   One stage = one static library stopmark_NAME (alias stopmark::NAME). Its public header is include/stopmark/NAME.h;
#   what it links privately (USES) never shows in that header.
set_property(GLOBAL PROPERTY SM_STAGES "")
function(sm_stage name)
  cmake_parse_arguments(S "" "" "SOURCES;NEEDS;USES" ${ARGN})
  add_library(stopmark_${name} STATIC ${S_SOURCES})
  add_library(stopmark::${name} ALIAS stopmark_${name})
  target_include_directories(stopmark_${name} PUBLIC
    $<BUILD_INTERFACE:${PROJECT_SOURCE_DIR}/include> $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}>)
  set_target_properties(stopmark_${name} PROPERTIES POSITION_INDEPENDENT_CODE ON EXPORT_NAME ${name})
  foreach(need IN LISTS S_NEEDS)
    target_link_libraries(stopmark_${name} PUBLIC stopmark_${need})
  endforeach()
  target_link_libraries(stopmark_${name} PRIVATE $<BUILD_INTERFACE:sm_flags> ${S_USES})
  set_property(GLOBAL APPEND PROPERTY SM_STAGES stopmark_${name})
endfunction()

# sm_program(NAME SOURCES f... [NEEDS stage...] [USES lib...]): an executable of ours (tests' tools included).
function(sm_program name)
  cmake_parse_arguments(P "" "" "SOURCES;NEEDS;USES" ${ARGN})
  add_executable(${name} ${P_SOURCES})
  foreach(need IN LISTS P_NEEDS)
    target_link_libraries(${name} PRIVATE stopmark_${need})
  endforeach()
  target_link_libraries(${name} PRIVATE sm_flags ${P_USES})
endfunction()

# sm_test(NAME SOURCES f... [NEEDS stage...] [USES lib...] [ARGS a...] [LABELS l...] [TIMEOUT s])
#   A cmocka program registered with ctest. tests/support is linked in.
function(sm_test name)
  cmake_parse_arguments(T "" "TIMEOUT" "SOURCES;NEEDS;USES;ARGS;LABELS" ${ARGN})
  if(NOT T_TIMEOUT)
    set(T_TIMEOUT 120)
  endif()
  sm_program(${name} SOURCES ${T_SOURCES} NEEDS ${T_NEEDS} USES sm_test_support ${T_USES})
  add_test(NAME ${name} COMMAND ${name} ${T_ARGS})
  set_tests_properties(${name} PROPERTIES TIMEOUT ${T_TIMEOUT} LABELS "${T_LABELS}"
    ENVIRONMENT "SM_SOURCE_DIR=${PROJECT_SOURCE_DIR};SM_BINARY_DIR=${PROJECT_BINARY_DIR};LC_ALL=C;TZ=UTC")
  if(SM_COVERAGE) # a locked-in process cannot write what it covered
    set_property(TEST ${name} APPEND PROPERTY ENVIRONMENT "SM_DECODER=here")
  endif()
endfunction()
