# What `cmake --install` puts where, as two components: the program, and what it takes to build on its
# layers.
include(GNUInstallDirs)
include(CMakePackageConfigHelpers)

# Debian has another folder for what packages bring.
set(KILTER_ZSH_DIR ${CMAKE_INSTALL_DATADIR}/zsh/site-functions CACHE STRING "Folder for zsh's completion")
get_target_property(described kilter-described BINARY_DIR)

install(TARGETS kilter COMPONENT program)
install(DIRECTORY ${described}/man/ DESTINATION ${CMAKE_INSTALL_MANDIR}/man1 COMPONENT program
        FILES_MATCHING PATTERN "*.1")
install(FILES ${described}/completions/kilter
        DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions COMPONENT program)
install(FILES ${described}/completions/_kilter DESTINATION ${KILTER_ZSH_DIR} COMPONENT program)
install(FILES ${described}/completions/kilter.fish
        DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d COMPONENT program)
install(FILES LICENSE README.md DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program)

get_property(layers GLOBAL PROPERTY KILTER_LAYERS)
list(TRANSFORM layers PREPEND kilter_ OUTPUT_VARIABLE libraries)
install(TARGETS ${libraries} EXPORT kilter ARCHIVE COMPONENT development)
install(DIRECTORY include/kilter DESTINATION ${CMAKE_INSTALL_INCLUDEDIR} COMPONENT development
        FILES_MATCHING PATTERN "*.h")
install(FILES DEVELOPERS.md DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT development)
install(DIRECTORY tests/package/example DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT development)

set(package_dir ${CMAKE_INSTALL_LIBDIR}/cmake/kilter)
install(EXPORT kilter NAMESPACE kilter:: FILE kilterTargets.cmake DESTINATION ${package_dir}
        COMPONENT development)
configure_package_config_file(${CMAKE_CURRENT_LIST_DIR}/kilterConfig.cmake.in kilterConfig.cmake
                              INSTALL_DESTINATION ${package_dir})
# Before 1.0 a minor version may change the headers.
write_basic_package_version_file(kilterConfigVersion.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${PROJECT_BINARY_DIR}/kilterConfig.cmake ${PROJECT_BINARY_DIR}/kilterConfigVersion.cmake
        DESTINATION ${package_dir} COMPONENT development)
