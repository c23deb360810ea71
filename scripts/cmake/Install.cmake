# What `cmake --install` puts where: the program with its man page, and all stages together as libstopmark with headers,
# pkg-config file and CMake package. Included last, when every stage is known.
include(CMakePackageConfigHelpers)

# What the library needs at link time, as pkg-config names; the install test links it whole, so that none can be forgotten.
set(SM_PACKAGES libavformat libavcodec libavutil libswscale sqlite3 expat jansson cairo cairo-pdf pangocairo libmicrohttpd)

get_property(stages GLOBAL PROPERTY SM_STAGES)
set(objects "")
foreach(stage IN LISTS stages)
  list(APPEND objects $<TARGET_OBJECTS:${stage}>)
endforeach()
add_library(stopmark_library STATIC ${objects})
set_target_properties(stopmark_library PROPERTIES OUTPUT_NAME stopmark EXPORT_NAME stopmark LINKER_LANGUAGE C)
target_include_directories(stopmark_library INTERFACE $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}>)

install(TARGETS stopmark_library EXPORT stopmarkTargets ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR})
install(DIRECTORY ${PROJECT_SOURCE_DIR}/include/stopmark DESTINATION ${CMAKE_INSTALL_INCLUDEDIR})
install(EXPORT stopmarkTargets NAMESPACE stopmark:: DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/stopmark)

list(JOIN SM_PACKAGES " " SM_PACKAGES_TEXT)
# The file finds its prefix from its own place, so that an installed tree can be moved: up from libdir/pkgconfig.
string(REGEX REPLACE "[^/]+" ".." SM_PC_UP "${CMAKE_INSTALL_LIBDIR}")
configure_file(${CMAKE_CURRENT_LIST_DIR}/stopmark.pc.in ${PROJECT_BINARY_DIR}/stopmark.pc @ONLY)
configure_package_config_file(${CMAKE_CURRENT_LIST_DIR}/stopmarkConfig.cmake.in ${PROJECT_BINARY_DIR}/stopmarkConfig.cmake
  INSTALL_DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/stopmark)
write_basic_package_version_file(${PROJECT_BINARY_DIR}/stopmarkConfigVersion.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${PROJECT_BINARY_DIR}/stopmark.pc DESTINATION ${CMAKE_INSTALL_LIBDIR}/pkgconfig)
install(FILES ${PROJECT_BINARY_DIR}/stopmarkConfig.cmake ${PROJECT_BINARY_DIR}/stopmarkConfigVersion.cmake
  DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/stopmark)

if(TARGET stopmark)
  install(TARGETS stopmark RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
  file(GLOB man_pages CONFIGURE_DEPENDS ${PROJECT_SOURCE_DIR}/docs/man/*.1)
  install(FILES ${man_pages} DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
endif()
install(FILES ${PROJECT_SOURCE_DIR}/LICENSE ${PROJECT_SOURCE_DIR}/README.md DESTINATION ${CMAKE_INSTALL_DOCDIR})
install(DIRECTORY ${PROJECT_SOURCE_DIR}/docs/schemas DESTINATION ${CMAKE_INSTALL_DATADIR}/stopmark)
