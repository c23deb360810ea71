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

install(TARGETS stopmark_library EXPORT stopmarkTargets ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT development)
install(DIRECTORY ${PROJECT_SOURCE_DIR}/include/stopmark DESTINATION ${CMAKE_INSTALL_INCLUDEDIR} COMPONENT development)
install(EXPORT stopmarkTargets NAMESPACE stopmark:: DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/stopmark COMPONENT development)

# The same objects as a shared library that lets out what the headers declare and nothing else. Semantic versioning: before 1.0
# the minor number counts as the major one, so it is the name's (libstopmark.so.0.1); scripts/abi holds the build against it.
if(NOT SM_SANITIZE AND NOT SM_COVERAGE AND NOT SM_FUZZ)
  file(GLOB public_headers CONFIGURE_DEPENDS ${PROJECT_SOURCE_DIR}/include/stopmark/*.h)
  set(SM_EXPORTS ${PROJECT_BINARY_DIR}/stopmark.map)
  add_custom_command(OUTPUT ${SM_EXPORTS} COMMAND ${PROJECT_SOURCE_DIR}/scripts/abi exports ${SM_EXPORTS}
    DEPENDS ${public_headers} ${PROJECT_SOURCE_DIR}/scripts/abi VERBATIM)
  add_custom_target(stopmark_exports DEPENDS ${SM_EXPORTS})
  add_library(stopmark_shared SHARED ${objects})
  add_dependencies(stopmark_shared stopmark_exports)
  set_target_properties(stopmark_shared PROPERTIES OUTPUT_NAME stopmark LINKER_LANGUAGE C VERSION ${PROJECT_VERSION}
    SOVERSION ${PROJECT_VERSION_MAJOR}.${PROJECT_VERSION_MINOR} LINK_DEPENDS ${SM_EXPORTS})
  pkg_check_modules(SM_ALL_NEEDS REQUIRED ${SM_PACKAGES})
  target_link_libraries(stopmark_shared PRIVATE sm_flags ${SM_ALL_NEEDS_LINK_LIBRARIES} m)
  target_link_options(stopmark_shared PRIVATE -Wl,--version-script=${SM_EXPORTS} -Wl,--no-undefined -Wl,--as-needed)
  install(TARGETS stopmark_shared LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT library NAMELINK_COMPONENT development)
endif()

list(JOIN SM_PACKAGES " " SM_PACKAGES_TEXT)
# The file finds its prefix from its own place, so that an installed tree can be moved: up from libdir/pkgconfig.
string(REGEX REPLACE "[^/]+" ".." SM_PC_UP "${CMAKE_INSTALL_LIBDIR}")
configure_file(${CMAKE_CURRENT_LIST_DIR}/stopmark.pc.in ${PROJECT_BINARY_DIR}/stopmark.pc @ONLY)
configure_package_config_file(${CMAKE_CURRENT_LIST_DIR}/stopmarkConfig.cmake.in ${PROJECT_BINARY_DIR}/stopmarkConfig.cmake
  INSTALL_DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/stopmark)
write_basic_package_version_file(${PROJECT_BINARY_DIR}/stopmarkConfigVersion.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${PROJECT_BINARY_DIR}/stopmark.pc DESTINATION ${CMAKE_INSTALL_LIBDIR}/pkgconfig COMPONENT development)
install(FILES ${PROJECT_BINARY_DIR}/stopmarkConfig.cmake ${PROJECT_BINARY_DIR}/stopmarkConfigVersion.cmake
  DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/stopmark COMPONENT development)

if(TARGET stopmark)
  install(TARGETS stopmark RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR} COMPONENT program)
  file(GLOB man_pages CONFIGURE_DEPENDS ${PROJECT_SOURCE_DIR}/docs/man/*.1)
  install(FILES ${man_pages} DESTINATION ${CMAKE_INSTALL_MANDIR}/man1 COMPONENT program)
  # Made by scripts/completions, held against --help by the tests; each shell looks in its own place.
  set(completion ${PROJECT_SOURCE_DIR}/scripts/completion)
  install(FILES ${completion}/stopmark.bash DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions RENAME stopmark COMPONENT program)
  install(FILES ${completion}/_stopmark DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/vendor-completions COMPONENT program)
  install(FILES ${completion}/stopmark.fish DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d COMPONENT program)
endif()
install(FILES ${PROJECT_SOURCE_DIR}/LICENSE ${PROJECT_SOURCE_DIR}/README.md DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program)
install(DIRECTORY ${PROJECT_SOURCE_DIR}/docs/schemas DESTINATION ${CMAKE_INSTALL_DATADIR}/stopmark COMPONENT program)

# Debian packages: `cpack -G DEB` in the build folder. What they need of the system is asked of their files.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_CONTACT "stopmark contributors <stopmark@example.org>")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_COMPONENTS_ALL program library development)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_ENABLE_COMPONENT_DEPENDS ON)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME stopmark)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_DEPENDS fonts-dejavu-core) # the face of its drawings and papers
set(CPACK_DEBIAN_LIBRARY_PACKAGE_NAME libstopmark${PROJECT_VERSION_MAJOR}.${PROJECT_VERSION_MINOR})
set(CPACK_DEBIAN_LIBRARY_PACKAGE_SECTION libs)
set(CPACK_DEBIAN_LIBRARY_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_LIBRARY_PACKAGE_GENERATE_SHLIBS ON)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_NAME libstopmark-dev)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_SECTION libdevel)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_DEPENDS "libstopmark${PROJECT_VERSION_MAJOR}.${PROJECT_VERSION_MINOR} (= ${PROJECT_VERSION}), libavformat-dev, libavcodec-dev, libavutil-dev, libswscale-dev, libsqlite3-dev, libexpat1-dev, libjansson-dev, libcairo2-dev, libpango1.0-dev, libmicrohttpd-dev")
set(CPACK_COMPONENT_PROGRAM_DESCRIPTION "${PROJECT_DESCRIPTION}\n Reads the distance counter off survey videos, corrects the operator's log and plans the liners.")
set(CPACK_COMPONENT_LIBRARY_DESCRIPTION "${PROJECT_DESCRIPTION}: shared library")
set(CPACK_COMPONENT_DEVELOPMENT_DESCRIPTION "${PROJECT_DESCRIPTION}: headers and static library")
include(CPack)
