# What a Debian package holds beside what is installed elsewhere: run by cpack on the folders that it is
# about to pack.
file(WRITE ${CPACK_TEMPORARY_DIRECTORY}/changelog
"kilter (${CPACK_PACKAGE_VERSION}) unstable; urgency=medium

  * Built from the sources by cpack.

")
string(TIMESTAMP now "%a, %d %b %Y %H:%M:%S +0000" UTC)
file(APPEND ${CPACK_TEMPORARY_DIRECTORY}/changelog " -- ${CPACK_PACKAGE_CONTACT}  ${now}\n")

# Every package has a folder of its own for what is to be read.
set(share ${CPACK_TEMPORARY_DIRECTORY}/development/usr/share/doc)
file(RENAME ${share}/kilter ${share}/libkilter-dev)

foreach(pair program=kilter development=libkilter-dev)
  string(REPLACE "=" ";" pair ${pair})
  list(GET pair 0 component)
  list(GET pair 1 package)
  set(usr ${CPACK_TEMPORARY_DIRECTORY}/${component}/usr)
  set(doc ${usr}/share/doc/${package})
  file(COPY ${CMAKE_CURRENT_LIST_DIR}/copyright DESTINATION ${doc})
  file(COPY ${CPACK_TEMPORARY_DIRECTORY}/changelog DESTINATION ${doc})
  # The licence's text is in every Debian system.
  file(REMOVE ${doc}/LICENSE)
  file(GLOB pages ${usr}/share/man/man1/*.1)
  execute_process(COMMAND gzip -9nf ${pages} ${doc}/changelog COMMAND_ERROR_IS_FATAL ANY)
endforeach()
file(REMOVE ${CPACK_TEMPORARY_DIRECTORY}/changelog)
